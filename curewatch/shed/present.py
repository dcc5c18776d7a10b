"""The situation, read from the logbook: what `tonight`, `watch`, the record and the daemon itself go by.

One way for all of them, so that a board, an answer and an alert can never stand on different readings.
Law: what is not known, too old, implausible or from a doubtful clock becomes a trouble of the
situation, never a number.
"""

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curewatch.advice.judge import situation as advice
from curewatch.advice.judge.situation import Place, Situation, Trouble, TroubleKind
from curewatch.configuration import Configuration, Role
from curewatch.logbook import LogbookStore
from curewatch.materials.sensor_part import load_sensor_part
from curewatch.model.air.past import Past
from curewatch.physics import moist_air
from curewatch.readings import Flag
from curewatch.shed import forecasts, halves, health, rejected_lately
from curewatch.shed.clock_watch import DOUBT, NOT_BEFORE
from curewatch.shed.health import Health, SensorHealth
from curewatch.shed.judgement import JudgedSensor, judged
from curewatch.shed.recall import (
    AHEAD,
    HELD_BACK,
    HELD_BACK_ADVISED,
    LOOK_BACK,
    LastHeard,
    sensors_of_interest,
)
from curewatch.shed.rejected_lately import RecentRejection
from curewatch.units import DAY, HOUR, FloatArray

PAST = 60 * DAY  # for the outlook; a longer one tells it no more [s]
FINE = 14 * DAY  # of it by single readings; before that the logbook's hourly means serve [s]
STEP = 900.0  # of the past's grid [s]
BEHIND_ADVISED = "set the board's clock, or let it send an age instead of a time"
HALF_ADVISED = "see that temperature and humidity both come, no more than 5 min apart"
ROLES: tuple[Role, ...] = ("air", "surface", "outside")

_KIND = {
    Health.NEVER: TroubleKind.NO_READING,
    Health.SILENT: TroubleKind.SILENT,
    Health.STUCK: TroubleKind.IMPLAUSIBLE,
    Health.JUMPING: TroubleKind.IMPLAUSIBLE,
    Health.DISAGREEING: TroubleKind.IMPLAUSIBLE,
    Health.SWAPPED: TroubleKind.IMPLAUSIBLE,
}


def situation(
    logbook: LogbookStore,
    configuration: Configuration,
    now: float,
    *,
    not_before: float = NOT_BEFORE,
) -> Situation:
    """The shed at ``now`` [s UTC], with every trouble there is.

    ``not_before`` is what an unset clock shows less than.

    Raises
    ------
    StoreFailed
        The logbook cannot be read.
    ConfigurationError
        A sensor's part is not known.
    """
    found = judged(logbook, configuration, sensors_of_interest(logbook, configuration), now)
    places = {role: _place(role, configuration, found) for role in ROLES}
    rejected = rejected_lately.lately(logbook, now)
    troubles = (
        *_clock_troubles(logbook, now, places.values(), not_before),
        *(
            trouble
            for name, each in found.items()
            for trouble in _troubles(
                name,
                configuration,
                *each,
                rejected_lately.of_sensor(rejected, name, each.health.since, now),
                now=now,
            )
        ),
    )
    air = places["air"]
    return Situation(
        at=now,
        air=air,
        surface=places["surface"],
        outside=places["outside"],
        troubles=troubles,
        past=_past(logbook, places, now),
        carbon_dioxide=_carbon_dioxide(found, air),
        forecasts=forecasts.kept(logbook, now),
        rejected=rejected_lately.told(rejected),
    )


# ---- one sensor


def _place(role: Role, configuration: Configuration, found: dict[str, JudgedSensor]) -> Place | None:
    """The best sensor of a role: a healthy one before any other, then the freshest."""
    candidates = [
        (each.health.health not in _KIND, each.heard.last.time, name, each.heard.last)
        for name, each in found.items()
        if each.heard.last is not None and configuration.role_of(name) == role
    ]
    if not candidates:
        return None
    _, _, name, last = max(candidates)
    known = configuration.sensor(name)
    part = load_sensor_part(known.part if known else "unknown")
    return advice.place(last, role, part.temperature_sd, part.relative_humidity_sd or 0.0)


def _troubles(
    name: str,
    configuration: Configuration,
    seen: LastHeard,
    judged: SensorHealth,
    unbelieved: RecentRejection | None,
    *,
    now: float,
) -> list[Trouble]:
    role = configuration.role_of(name) or ""
    if seen.ahead is not None and judged.health in {Health.NEVER, Health.SILENT}:
        text = f"its last stamp lies {(seen.ahead - judged.since) / HOUR:.1f} h ahead of this machine's clock"
        return [Trouble(TroubleKind.CLOCK, text, name, role, None)]
    if seen.held_back and judged.health in {Health.NEVER, Health.SILENT}:
        return [Trouble(_KIND[judged.health], HELD_BACK, name, role, judged.since, HELD_BACK_ADVISED)]
    if unbelieved is not None and judged.health in {Health.NEVER, Health.SILENT}:
        text = f"it speaks, but {unbelieved.times} were rejected: {unbelieved.reason}"
        return [Trouble(TroubleKind.IMPLAUSIBLE, text, name, role, judged.since, unbelieved.advised)]
    every = known.every_s if (known := configuration.sensor(name)) else health.EVERY_ASSUMED
    behind = health.clock_behind(seen.track, now, every) if judged.health is Health.SILENT else ""
    if behind:
        return [Trouble(TroubleKind.CLOCK, behind, name, role, judged.since, BEHIND_ADVISED)]
    half = halves.wanting(seen.track.halves, now) if judged.health is not Health.SILENT else ""
    if half:
        return [Trouble(TroubleKind.INCOMPLETE, half, name, role, judged.since, HALF_ADVISED)]
    kind = _KIND.get(judged.health)
    return [] if kind is None else [Trouble(kind, judged.reason, name, role, judged.since)]


# ---- the clock


def _clock_troubles(
    logbook: LogbookStore, now: float, places: Iterable[Place | None], not_before: float
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
    moved = f"the clock moved by {float(last.payload['step']):.0f} s"
    mixed = _mixed(last.payload, now)
    if mixed:
        return [Trouble(TroubleKind.CLOCK, f"{moved}; {mixed}", since=last.at)]
    waiting = [place.sensor for place in places if place is not None and place.time < last.at]
    if not waiting:
        return []
    seen = f"{moved}; no reading since from {', '.join(waiting)}"
    return [Trouble(TroubleKind.CLOCK, seen, since=last.at)]


def _mixed(step: Mapping[str, Any], now: float) -> str:
    """After a step back old stamps come once more: nobody can tell which reading is the newer one."""
    before, after = float(step.get("before", 0.0)), float(step.get("after", 0.0))
    begun = max(after, float(step.get("begun", after)))
    if before <= after or not begun - AHEAD <= now <= before:
        return ""
    return f"for {(before - now) / 60:.0f} min more its old stamps and the new ones cannot be told apart"


# ---- the past


def _past(logbook: LogbookStore, places: dict[Role, Place | None], now: float) -> Past:
    """The last days of each role's sensor on one grid; a cell without a reading is ``nan``."""
    edges = np.arange(np.floor((now - PAST) / STEP), np.floor(now / STEP) + 2) * STEP
    columns = {role: _gridded(logbook, places[role], edges) for role in ROLES}
    known = ~np.isnan(np.vstack([column for pair in columns.values() for column in pair])).all(axis=0)
    first = int(np.argmax(known)) if known.any() else len(edges) - 1
    (air, vapour), (surface, _), (outside, outside_vapour) = (columns[role] for role in ROLES)
    middle = edges[:-1] + STEP / 2
    return Past(*(a[first:] for a in (middle, air, vapour, surface, outside, outside_vapour)))


def _gridded(logbook: LogbookStore, place: Place | None, edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Means of temperature and of vapour pressure in each cell."""
    empty = np.full(len(edges) - 1, np.nan)
    if place is None:
        return empty, empty.copy()
    fine = float(np.ceil(max(edges[0], edges[-1] - FINE) / HOUR)) * HOUR
    found = halves.joined_series(logbook.series(place.sensor, fine, float(edges[-1])).dated())
    usable = (found.flags & Flag.CLOCK_DOUBT) == 0
    cells = ((found.time - edges[0]) // STEP).astype(int)
    pressure = _pressure(found.temperature, found.relative_humidity)
    columns = [_means(cells, series, usable, len(empty)) for series in (found.temperature, pressure)]
    older = logbook.hourly(place.sensor, float(edges[0]), fine)
    cells = ((older.time + HOUR / 2 - edges[0]) // STEP).astype(int)
    warm, damp = (older.quantities[name].mean for name in ("temperature", "relative_humidity"))
    columns[0][cells] = warm
    columns[1][cells] = _pressure(warm, damp)
    return columns[0], columns[1]


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


def _carbon_dioxide(found: dict[str, JudgedSensor], air: Place | None) -> float | None:
    if air is None:
        return None
    last = found[air.sensor].heard.last
    return None if last is None else last.carbon_dioxide
