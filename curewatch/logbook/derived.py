"""What follows from the readings and is kept beside the chain: hours, each sensor's count and last reading.

Law: of the same rows, ``roll_up`` writes what :class:`Derived` reckons. So these tables can be made anew
at any time, except the hours whose readings retention has let go.
"""

from typing import TYPE_CHECKING, NamedTuple

from curewatch.errors import RecordBroken
from curewatch.later import Later
from curewatch.logbook import columns, rows
from curewatch.logbook.tables import Database
from curewatch.readings import undated

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Table = NDArray[np.int64]  # sensor, hour, quantity, readings, lowest, total, highest
else:
    np = Later("numpy")  # entries are read without it

HOUR_MS = 3_600_000


def roll_up(database: Database, new: rows.Rows) -> None:
    """Bring the hours and each sensor's last reading up to these new rows.

    One walk over them: a commit has a handful of rows of as many sensors, and is waited for.
    """
    form = columns.newest()
    hours: dict[tuple[int, int, int], list[int]] = {}  # sensor, hour, quantity: the rest of its row
    spoken: dict[int, list[int]] = {}  # sensor: earliest, latest, place of the latest, readings
    for place, values in enumerate(new.tolist()):
        sensor, time = values[0], values[1]
        own = spoken.get(sensor)
        if own is None:
            spoken[sensor] = [time, time, place, 1]
        else:
            own[3] += 1
            if time > own[1]:
                own[1], own[2] = time, place
            elif time < own[0]:
                own[0] = time
        if undated(values[3]):  # nobody knows of which hour it is
            continue
        hour = time // HOUR_MS
        for quantity in form.hourly:
            value = values[rows.QUANTITIES_FROM + quantity]
            if value == columns.NOTHING:
                continue
            kept = hours.get((sensor, hour, quantity))
            if kept is None:
                hours[sensor, hour, quantity] = [1, value, value, value]
                continue
            kept[0] += 1
            kept[2] += value
            if value < kept[1]:
                kept[1] = value
            elif value > kept[3]:
                kept[3] = value
    database.executemany(HOUR, [(*key, *rest) for key, rest in hours.items()])
    _told_last(database, new, spoken)


def _told_last(database: Database, new: rows.Rows, spoken: dict[int, list[int]]) -> None:
    """Each sensor's last reading; ``spoken``: earliest, latest, place of the latest, readings."""
    size, body = new.itemsize, new.tobytes()
    database.executemany(
        _SENSOR,
        [
            {
                "sensor": sensor,
                "earliest": earliest,
                "latest": latest,
                "form": columns.newest().number,
                "last": body[place * size : (place + 1) * size],
                "readings": readings,
            }
            for sensor, (earliest, latest, place, readings) in spoken.items()
        ],
    )


HOUR = (
    "INSERT INTO hours VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (sensor, hour, quantity) DO UPDATE SET"
    " readings = hours.readings + excluded.readings, total = hours.total + excluded.total,"
    " lowest = CASE WHEN excluded.lowest < hours.lowest THEN excluded.lowest ELSE hours.lowest END,"
    " highest = CASE WHEN excluded.highest > hours.highest THEN excluded.highest ELSE hours.highest END"
)
_SENSOR = (
    "UPDATE sensors SET"
    " earliest = CASE WHEN readings = 0 OR :earliest < earliest THEN :earliest ELSE earliest END,"
    " form = CASE WHEN readings = 0 OR :latest >= latest THEN :form ELSE form END,"
    " last = CASE WHEN readings = 0 OR :latest >= latest THEN :last ELSE last END,"
    " latest = CASE WHEN readings = 0 OR :latest > latest THEN :latest ELSE latest END,"
    " readings = readings + :readings WHERE number = :sensor"
)


class Spoken(NamedTuple):
    """What the rows say of one sensor."""

    readings: int
    earliest: int  # [ms]
    latest: int  # [ms]
    last: frozenset[bytes]  # its rows of the latest time, in the newest form


class Derived:
    """The derived tables, reckoned from all rows. Bounded by the hours that have readings: 56 bytes each."""

    def __init__(self) -> None:
        self._parts: list[Table] = []
        self.sensors: dict[int, Spoken] = {}

    def take(self, found: rows.Rows) -> None:
        """The rows of one more block, in the order of the chain."""
        self._parts.append(_hours(found))
        if len(self._parts) > 256:
            self._parts = [_merged(self._parts)]
        for sensor, earliest, latest in rows.spans(found):
            own = found[found["sensor"] == sensor]
            last = frozenset(one.tobytes() for one in own[own["time"] == latest])
            self.sensors[sensor] = _together(
                self.sensors.get(sensor), Spoken(len(own), earliest, latest, last)
            )

    def hours(self) -> "Table":
        """The hours, in the order of the table's key."""
        return _merged(self._parts)

    def write(self, database: Database) -> None:
        """Into the tables of a new logbook, whose sensors have their names."""
        database.executemany(HOUR, self.hours().tolist())
        database.executemany(
            "UPDATE sensors SET readings = ?, earliest = ?, latest = ?, form = ?, last = ? WHERE number = ?",
            [
                (*said[:3], columns.newest().number, max(said.last), sensor)
                for sensor, said in self.sensors.items()
            ],
        )

    def check(self, database: Database, *, pruned: bool) -> None:
        """Raise RecordBroken where a derived table does not say what the rows say.

        Of readings that were ``pruned`` the tables say more than the rows: no less is checked.
        """
        for number, readings, *edges, form, last in database.execute(
            "SELECT number, readings, earliest, latest, form, last FROM sensors"
        ):
            said = self.sensors.get(number, Spoken(0, 0, 0, frozenset()))
            kept = _newest(last, form)
            same = (readings, *edges) == said[:3] and (not readings or kept in said.last)
            more = pruned and readings >= said.readings
            if not (same or (more and (not said.readings or edges[0] <= said.earliest))):
                raise RecordBroken(
                    f"the table of sensors, sensor {number}",
                    f"{said.readings} readings, as in the blocks",
                    f"{readings} readings, or another first or last one",
                )
            self._check_hours(database, number, pruned=pruned)

    def _check_hours(self, database: Database, sensor: int, *, pruned: bool) -> None:
        table = self.hours()
        self._parts = [table]
        expected = table[table[:, 0] == sensor]
        found = np.array(
            database.execute(
                "SELECT sensor, hour, quantity, readings, lowest, total, highest FROM hours"
                " WHERE sensor = ? ORDER BY hour, quantity",
                (sensor,),
            ).fetchall(),
            dtype=np.int64,
        ).reshape(-1, 7)
        same = _hold(expected, found) if pruned else np.array_equal(found, expected)
        if not same:
            raise RecordBroken(
                f"the table of hours, sensor {sensor}", "what its readings give", "other numbers"
            )


def _hold(expected: "Table", found: "Table") -> bool:
    """Whether each expected hour is there; one of which readings were let go may say more than is left."""
    by_key = {(hour, quantity): rest for _, hour, quantity, *rest in found.tolist()}
    for _, hour, quantity, readings, lowest, total, highest in expected.tolist():
        kept = by_key.get((hour, quantity))
        if kept is None or kept[0] < readings or kept[1] > lowest or kept[3] < highest:
            return False
        if kept[0] == readings and kept[2] != total:
            return False
    return True


def _newest(last: bytes, form: int) -> bytes:
    """A row of an older form as the newest writes it; what is none is itself."""
    try:
        return rows.from_bytes(last, form).tobytes()
    except ValueError:
        return last


def _hours(found: rows.Rows) -> "Table":
    """The hours of these rows, in no order."""
    dated = found[~undated(found["flags"])]
    parts = []
    for place, one in enumerate(columns.newest().quantities):
        kept = dated[one.name]
        there = kept != columns.NOTHING
        if one.hourly and there.any():
            value = kept[there].astype(np.int64)
            key = (dated["sensor"][there], dated["time"][there] // HOUR_MS, np.full(len(value), place))
            parts.append(np.column_stack((*key, np.ones_like(value), value, value, value)))
    return _merged([part.astype(np.int64) for part in parts])


def _merged(parts: "list[Table]") -> "Table":
    """These hours together, one row a key, in the order of the key."""
    if not parts:
        return np.empty((0, 7), np.int64)
    table = np.concatenate(parts)
    if not len(table):
        return table
    table = table[np.lexsort((table[:, 2], table[:, 1], table[:, 0]))]
    begins = np.flatnonzero(np.any(np.diff(table[:, :3], axis=0, prepend=table[:1, :3] - 1), axis=1))
    return np.column_stack(
        (
            table[begins, :3],
            np.add.reduceat(table[:, 3], begins),
            np.minimum.reduceat(table[:, 4], begins),
            np.add.reduceat(table[:, 5], begins),
            np.maximum.reduceat(table[:, 6], begins),
        )
    )


def _together(before: Spoken | None, new: Spoken) -> Spoken:
    if before is None:
        return new
    latest = max(before.latest, new.latest)
    last = frozenset[bytes]().union(*(one.last for one in (before, new) if one.latest == latest))
    return Spoken(before.readings + new.readings, min(before.earliest, new.earliest), latest, last)
