"""The situation, read from the logbook: what `tonight`, `watch`, the record and the daemon itself go by.

One way for all of them, so that a board, an answer and an alert can never stand on different readings.
Law: what is not known, too old, implausible or from a doubtful clock becomes a trouble of the
situation, never a number.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.advice import situation as advice
from curewatch.advice.situation import Place, Situation, Trouble, TroubleKind
from curewatch.configuration import Configuration, Role
from curewatch.ingest import forecasts, health
from curewatch.ingest.clock_watch import DOUBT, NOT_BEFORE
from curewatch.ingest.health import Health, State, Track
from curewatch.ingest.judgement import judge
from curewatch.logbook import Logbook
from curewatch.materials.sensor_part import load_sensor_part
from curewatch.model.past import Past, no_past
from curewatch.physics import moist_air
from curewatch.readings import Flag, Reading
from curewatch.units import DAY, HOUR, FloatArray

LOOK_BACK = 6 * HOUR  # for health [s]
PAST = 14 * DAY  # for the outlook [s]
STEP = 900.0  # of the past's grid [s]
AHEAD = 60.0  # a stamp may lie so far ahead of now: two clocks on one bench [s]
ROLES: tuple[Role, ...] = ("air", "surface", "outside")

_KIND = {
    State.NEVER: TroubleKind.NO_READING,
    State.SILENT: TroubleKind.SILENT,
    State.STUCK: TroubleKind.IMPLAUSIBLE,
    State.JUMPING: TroubleKind.IMPLAUSIBLE,
    State.DISAGREEING: TroubleKind.IMPLAUSIBLE,
    State.SWAPPED: TroubleKind.IMPLAUSIBLE,
}
_UNDATED = int(Flag.RETAINED | Flag.ARRIVAL_TIME)


class Seen(NamedTuple):
    """What the logbook has of one sensor around now."""

    track: Track
    last: Reading | None  # the newest whose stamp can be believed
    ahead: float | None  # UTC of a stamp that lies in the future [s]


def situation(
    logbook: Logbook,
    configuration: Configuration,
    now: float,
    *,
    past: bool = True,
    not_before: float = NOT_BEFORE,
) -> Situation:
    """The shed at ``now`` [s UTC], with every trouble there is.

    ``past`` false leaves out the recent days; ``not_before`` is what an unset clock shows less than.

    Raises
    ------
    StoreFailed
        The logbook cannot be read.
    ConfigurationError
        A sensor's part is not known.
    """
    names = sensors_of_interest(logbook, configuration)
    seen = {name: _seen(logbook, name, now) for name in names}
    healths = judge(configuration, {name: each.track for name, each in seen.items()}, now)
    places = {role: _place(role, configuration, seen, healths) for role in ROLES}
    troubles = (
        *_clock_troubles(logbook, now, places.values(), not_before),
        *(trouble for name in names for trouble in _troubles(name, configuration, seen[name], healths[name])),
    )
    air = places["air"]
    return Situation(
        at=now,
        air=air,
        surface=places["surface"],
        outside=places["outside"],
        troubles=troubles,
        past=_past(logbook, places, now) if past else no_past(),
        carbon_dioxide=_carbon_dioxide(seen, air),
        forecasts=forecasts.kept(logbook, now),
    )


def sensors_of_interest(logbook: Logbook, configuration: Configuration) -> list[str]:
    """The configured sensors; without any, those in the logbook whose name tells a role."""
    if configuration.sensors:
        return list(configuration.sensors)
    return [name for name in logbook.sensors() if configuration.role_of(name)]


def tracks(logbook: Logbook, names: Iterable[str], now: float) -> dict[str, Track]:
    """The tracks that the logbook's last hours make: what a daemon knows when it starts again."""
    return {name: _seen(logbook, name, now).track for name in names}


# ---- one sensor


def _seen(logbook: Logbook, name: str, now: float) -> Seen:
    track, last = Track(), None
    for reading in _readings(logbook, name, now - LOOK_BACK, now + AHEAD):
        track, last = health.step(track, reading), reading
    latest = logbook.latest().get(name)
    ahead = latest.time if latest is not None and latest.time > now + AHEAD else None
    if last is None and latest is not None and ahead is None and _believable(latest):
        track, last = health.step(track, latest), latest
    return Seen(track, last, ahead)


def _believable(reading: Reading) -> bool:
    """Not stamped by a doubtful clock, and no broker's kept message without a time of its own."""
    return not reading.flags & Flag.CLOCK_DOUBT and reading.flags & _UNDATED != _UNDATED


def _readings(logbook: Logbook, name: str, start: float, end: float) -> Iterator[Reading]:
    """Readings whose stamp can be believed, oldest first."""
    found = logbook.series(name, start, end)
    usable = ((found.flags & Flag.CLOCK_DOUBT) == 0) & ((found.flags & _UNDATED) != _UNDATED)
    columns = (
        found.time,
        found.received,
        found.temperature,
        found.relative_humidity,
        found.carbon_dioxide,
        found.flags,
    )
    for time, received, temperature, humidity, carbon_dioxide, flags in zip(
        *(column[usable].tolist() for column in columns), strict=True
    ):
        yield Reading(
            name,
            time,
            received,
            _known(temperature),
            _known(humidity),
            _known(carbon_dioxide),
            flags=int(flags),
        )


def _known(value: float) -> float | None:
    return None if value != value else value  # noqa: PLR0124 - nan stands for "no such quantity"


def _place(
    role: Role, configuration: Configuration, seen: dict[str, Seen], healths: dict[str, Health]
) -> Place | None:
    """The best sensor of a role: a healthy one before any other, then the freshest."""
    candidates = [
        (healths[name].state not in _KIND, each.last.time, name, each.last)
        for name, each in seen.items()
        if each.last is not None and configuration.role_of(name) == role
    ]
    if not candidates:
        return None
    _, _, name, last = max(candidates)
    known = configuration.sensor(name)
    part = load_sensor_part(known.part if known else "unknown")
    return advice.place(last, role, part.temperature_sd, part.relative_humidity_sd or 0.0)


def _troubles(name: str, configuration: Configuration, seen: Seen, judged: Health) -> list[Trouble]:
    role = configuration.role_of(name) or ""
    if seen.ahead is not None and judged.state in {State.NEVER, State.SILENT}:
        text = f"its last stamp lies {(seen.ahead - judged.since) / HOUR:.1f} h ahead of this machine's clock"
        return [Trouble(TroubleKind.CLOCK, text, name, role, None)]
    kind = _KIND.get(judged.state)
    return [] if kind is None else [Trouble(kind, judged.seen, name, role, judged.since)]


# ---- the clock


def _clock_troubles(
    logbook: Logbook, now: float, places: Iterable[Place | None], not_before: float
) -> list[Trouble]:
    """This machine's clock is not set, or stepped and not every place has spoken since."""
    if now < not_before:
        return [Trouble(TroubleKind.CLOCK, "this machine's clock is not set")]
    steps = [
        entry
        for entry in logbook.entries("clock", start=now - LOOK_BACK, end=now + AHEAD)
        if abs(float(entry.payload.get("step", 0.0))) > DOUBT
    ]
    if not steps:
        return []
    last = steps[-1]
    waiting = [place.sensor for place in places if place is not None and place.time < last.at]
    if not waiting:
        return []
    moved = f"the clock moved by {float(last.payload['step']):.0f} s"
    seen = f"{moved}; no reading since from {', '.join(waiting)}"
    return [Trouble(TroubleKind.CLOCK, seen, since=last.at)]


# ---- the past


def _past(logbook: Logbook, places: dict[Role, Place | None], now: float) -> Past:
    """The last days of each role's sensor on one grid; a cell without a reading is ``nan``."""
    edges = np.arange(np.floor((now - PAST) / STEP), np.floor(now / STEP) + 2) * STEP
    columns = {role: _gridded(logbook, places[role], edges) for role in ROLES}
    known = ~np.isnan(np.vstack([column for pair in columns.values() for column in pair])).all(axis=0)
    first = int(np.argmax(known)) if known.any() else len(edges) - 1
    (air, vapour), (surface, _), (outside, outside_vapour) = (columns[role] for role in ROLES)
    middle = edges[:-1] + STEP / 2
    return Past(*(a[first:] for a in (middle, air, vapour, surface, outside, outside_vapour)))


def _gridded(logbook: Logbook, place: Place | None, edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Means of temperature and of vapour pressure in each cell."""
    empty = np.full(len(edges) - 1, np.nan)
    if place is None:
        return empty, empty.copy()
    found = logbook.series(place.sensor, float(edges[0]), float(edges[-1]))
    usable = (found.flags & Flag.CLOCK_DOUBT) == 0
    cells = ((found.time - edges[0]) // STEP).astype(int)
    pressure = np.full(len(found.time), np.nan)
    both = usable & ~np.isnan(found.temperature) & (found.relative_humidity > 0)
    pressure[both] = moist_air.vapour_pressure(found.temperature[both], found.relative_humidity[both])
    return _means(cells, found.temperature, usable, len(empty)), _means(cells, pressure, usable, len(empty))


def _means(cells: NDArray[np.int_], values: FloatArray, usable: NDArray[np.bool_], count: int) -> FloatArray:
    kept = usable & ~np.isnan(values)
    total = np.bincount(cells[kept], weights=values[kept], minlength=count)
    number = np.bincount(cells[kept], minlength=count)
    means = np.full(count, np.nan)
    np.divide(total, number, out=means, where=number > 0)
    return means


def _carbon_dioxide(seen: dict[str, Seen], air: Place | None) -> float | None:
    if air is None:
        return None
    last = seen[air.sensor].last
    return None if last is None else last.carbon_dioxide
