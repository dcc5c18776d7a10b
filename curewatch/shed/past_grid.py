"""The past of a shed's places on one grid; a process that looks again reads only what has changed.

*Theory of operation.* The newest weeks are means of single readings, what lies before them is the logbook's
hourly means. A cell changes only where a reading of its time arrives, or where it grows too old for single
readings. Blocks that are closed never change. So whoever remembers the last grid and its last closed block
finds in the blocks after it the earliest moment that is new, and reads from there on.

Law: what is put together is what a first look would read, number for number.
"""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.logbook import LogbookStore, Series
from curewatch.model.air.past import Past
from curewatch.physics import moist_air
from curewatch.readings import Flag
from curewatch.shed import halves
from curewatch.units import DAY, HOUR, FloatArray

PAST = 60 * DAY  # for the outlook; a longer one tells it no more [s]
FINE = 14 * DAY  # of it by single readings; before that the logbook's hourly means serve [s]
STEP = 900.0  # of the past's grid [s]

Pair = tuple[FloatArray, FloatArray]  # temperature [K] and vapour pressure [Pa] in each cell


class _Known(NamedTuple):
    """A grid as it was read."""

    sensors: Mapping[str, str]  # by role
    edges: FloatArray  # of the cells, UTC [s]
    fine: float  # from here on by single readings, UTC [s]
    columns: dict[str, Pair]  # by role
    block: int  # the last that was closed then

    def serves(self, sensors: Mapping[str, str], edges: FloatArray, fine: float, changed: float) -> bool:
        """Whether the next grid continues it: the same sensors, later, and nothing new of old hours."""
        later = bool(self.edges[0] <= edges[0]) and self.fine <= fine
        return later and fine <= changed and self.sensors == sensors


class PastGrid:
    """Reads the past, and remembers it for the next look at the same logbook."""

    def __init__(self) -> None:
        self._known: _Known | None = None

    def past(self, logbook: LogbookStore, sensors: Mapping[str, str], now: float) -> Past:
        """The last days of the sensor of each role on one grid; a cell without a reading is ``nan``.

        ``sensors`` are by role: air, surface, outside; a role without one is not known.
        """
        edges = np.arange(np.floor((now - PAST) / STEP), np.floor(now / STEP) + 2) * STEP
        fine = float(np.ceil(max(edges[0], edges[-1] - FINE) / HOUR)) * HOUR
        known, block, changed = self._known, logbook.head().block - 1, -np.inf
        if known is not None:
            block, changed = _news(logbook, known.block)
        if known is None or not known.serves(sensors, edges, fine, changed):
            columns = _read(logbook, sensors, edges, (float(edges[0]), fine, fine))
        else:
            since = max(fine, float(np.floor(min(changed, known.edges[-1]) / STEP)) * STEP)
            columns = _read(logbook, sensors, edges, (known.fine, fine, since))
            for role, pair in columns.items():
                _carry(known.columns[role], known.edges, pair, edges, (known.fine, fine, since))
        self._known = _Known(dict(sensors), edges, fine, columns, block)
        return _arranged(columns, edges)


def _news(logbook: LogbookStore, block: int) -> tuple[int, float]:
    """The last block that is closed for certain, and the earliest time in those after ``block``. [s]"""
    last, earliest = block, np.inf
    for each in logbook.block_rows(block + 1, 2**62):
        last = max(last, each.block - 1)
        if len(each.rows):
            earliest = min(earliest, float(each.rows["time"].min()) / 1e3)
    return last, earliest


def _read(
    logbook: LogbookStore, sensors: Mapping[str, str], edges: FloatArray, spans: tuple[float, float, float]
) -> dict[str, Pair]:
    """Hourly means from the first moment to the second, and single readings from the third on. [s]"""
    hourly, fine, since = spans
    recent = logbook.every_series(sensors.values(), since - HOUR, float(edges[-1]))
    found = {}
    for role, sensor in sensors.items():
        pair = _gridded(recent[sensor], edges)
        for column in pair:
            column[: _cell(edges, since)] = np.nan
        older = logbook.hourly(sensor, hourly, fine)
        cells = ((older.time + HOUR / 2 - edges[0]) // STEP).astype(int)
        warm, damp = (older.quantities[name].mean for name in ("temperature", "relative_humidity"))
        pair[0][cells], pair[1][cells] = warm, _pressure(warm, damp)
        found[role] = pair
    return found


def _carry(
    old: Pair, before: FloatArray, new: Pair, edges: FloatArray, spans: tuple[float, float, float]
) -> None:
    """The cells that have not changed, out of the grid before."""
    hourly, fine, since = spans
    whole = float(np.ceil(edges[0] / HOUR)) * HOUR  # an hour that has begun before the grid is left out
    for first, last in ((whole, hourly), (fine, since)):
        if last > first:
            there = slice(_cell(edges, first), _cell(edges, last))
            here = slice(_cell(before, first), _cell(before, last))
            for column, kept in zip(new, old, strict=True):
                column[there] = kept[here]


def _cell(edges: FloatArray, moment: float) -> int:
    return round((moment - float(edges[0])) / STEP)


def _arranged(columns: Mapping[str, Pair], edges: FloatArray) -> Past:
    """From the first cell on in which anything is known."""
    nothing = np.full(len(edges) - 1, np.nan)
    air, surface, outside = (columns.get(role, (nothing, nothing)) for role in ("air", "surface", "outside"))
    known = ~np.isnan(np.vstack([*air, *surface, *outside])).all(axis=0)
    first = int(np.argmax(known)) if known.any() else len(edges) - 1
    middle = edges[:-1] + STEP / 2
    return Past(*(column[first:] for column in (middle, *air, surface[0], *outside)))


def _gridded(series: Series, edges: FloatArray) -> Pair:
    """Means of temperature and of vapour pressure in each cell."""
    found = halves.joined_series(series.dated())
    usable = (found.flags & Flag.CLOCK_DOUBT) == 0
    cells = ((found.time - edges[0]) // STEP).astype(int)
    pressure = _pressure(found.temperature, found.relative_humidity)
    count = len(edges) - 1
    return _means(cells, found.temperature, usable, count), _means(cells, pressure, usable, count)


def _pressure(temperature: FloatArray, humidity: FloatArray) -> FloatArray:
    """Vapour pressures where both are known. [Pa]"""
    pressure = np.full(len(temperature), np.nan)
    both = ~np.isnan(temperature) & (humidity > 0)
    pressure[both] = moist_air.vapour_pressure(temperature[both], humidity[both])
    return pressure


def _means(cells: NDArray[np.int_], values: FloatArray, usable: NDArray[np.bool_], count: int) -> FloatArray:
    kept = usable & ~np.isnan(values)
    total = np.bincount(cells[kept], weights=values[kept], minlength=count)
    number = np.bincount(cells[kept], minlength=count)
    means = np.full(count, np.nan)
    np.divide(total, number, out=means, where=number > 0)
    return means
