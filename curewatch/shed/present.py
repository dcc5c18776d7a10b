"""The situation, read from the logbook: what `tonight`, `watch` and the daemon itself go by.

One way for all of them, so that a board, an answer and an alert can never stand on different readings.
Law: what is not known, too old, implausible or from a doubtful clock becomes a trouble of the
situation, never a number.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from msgspec.structs import replace

from curewatch.advice.judge import situation as advice
from curewatch.advice.judge.situation import Place, Situation, Trouble, TroubleKind
from curewatch.configuration import Configuration, Role
from curewatch.logbook import LogbookStore
from curewatch.materials.sensor_part import load_sensor_part
from curewatch.shed import forecasts, halves, health, rejected_lately, ways_in
from curewatch.shed.clock_watch import DOUBT, NOT_BEFORE
from curewatch.shed.health import Health, SensorHealth
from curewatch.shed.judgement import JudgedSensor, judged
from curewatch.shed.past_grid import PastGrid
from curewatch.shed.recall import (
    AHEAD,
    HELD_BACK,
    HELD_BACK_ADVISED,
    LOOK_BACK,
    LastHeard,
    sensors_of_interest,
)
from curewatch.shed.rejected_lately import RecentRejection
from curewatch.units import HOUR, MINUTE

BEHIND_ADVISED = "set the board's clock, or let it send an age instead of a time"
QUIET = {Health.NEVER, Health.SILENT}
NAMED = 3  # of sensors that are not configured so many at most
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
    grid: PastGrid | None = None,
) -> Situation:
    """The shed at ``now`` [s UTC], with every trouble there is.

    ``not_before`` is what an unset clock shows less than; 0 for a moment of a recording, which is no word of
    this machine's clock: what was kept after it does not show that the clock was set back. ``grid`` is what
    a look before this one read of the past.

    Raises
    ------
    StoreFailed
        The logbook cannot be read.
    ConfigurationError
        A sensor's part is not known.
    """
    names = [name for name in sensors_of_interest(logbook, configuration) if configuration.of_shed(name)]
    found = judged(logbook, configuration, names, now)
    quiet = {name: each.health.since for name, each in found.items() if each.health.health in QUIET}
    strangers = _strangers(logbook, configuration, now) if quiet else {}
    recorded = not_before <= 0.0
    barred = {} if recorded else ways_in.advised(logbook, configuration, quiet, now)
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
                recorded=recorded,
                strangers=strangers,
                barred=barred.get(name, ""),
            )
        ),
    )
    air = places["air"]
    known: dict[str, str] = {role: each.sensor for role, each in places.items() if each is not None}
    told = Situation(
        at=now,
        air=air,
        surface=places["surface"],
        outside=places["outside"],
        troubles=troubles,
        judged=frozenset(found),
        carbon_dioxide=_carbon_dioxide(found, air),
        forecasts=forecasts.kept(logbook, now),
        rejected=rejected_lately.told(rejected),
    )
    return replace(told, past=(grid or PastGrid()).past(logbook, known, told.heard))


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
    recorded: bool,
    strangers: Mapping[str, float],
    barred: str,
) -> list[Trouble]:
    role = configuration.role_of(name) or ""
    set_back = seen.set_back and not recorded
    if seen.ahead is not None and (set_back or judged.health in QUIET):
        text = f"its last stamp lies {(seen.ahead - now) / HOUR:.1f} h ahead of this machine's clock"
        return [Trouble(TroubleKind.CLOCK, text, name, role, None)]
    if seen.held_back and judged.health in QUIET:
        return [Trouble(_KIND[judged.health], HELD_BACK, name, role, judged.since, HELD_BACK_ADVISED)]
    if unbelieved is not None and judged.health in QUIET:
        text = f"it reports, but {unbelieved.times} were rejected: {unbelieved.reason}"
        return [Trouble(TroubleKind.IMPLAUSIBLE, text, name, role, judged.since, unbelieved.advised)]
    every = known.every_s if (known := configuration.sensor(name)) else health.EVERY_ASSUMED
    behind = health.clock_behind(seen.track, now, every) if judged.health is Health.SILENT else ""
    if behind:
        return [Trouble(TroubleKind.CLOCK, behind, name, role, judged.since, BEHIND_ADVISED)]
    half = halves.wanting(seen.track.halves, now) if judged.health is not Health.SILENT else ""
    if half:
        return [Trouble(TroubleKind.INCOMPLETE, half, name, role, judged.since, HALF_ADVISED)]
    kind = _KIND.get(judged.health)
    place = f"sheds.{configuration.label}.sensors" if configuration.label else "sensors"
    advised = _newer_name(f"[{place}.{name}]", judged, strangers) or barred
    return [] if kind is None else [Trouble(kind, judged.reason, name, role, judged.since, advised)]


def _strangers(logbook: LogbookStore, configuration: Configuration, now: float) -> dict[str, float]:
    """Since when each sensor has spoken that speaks now, and that the configuration does not name. [UTC s]"""
    if not configuration.sensors:
        return {}
    return {
        name: seen.earliest
        for name, seen in logbook.sensors().items()
        if name not in configuration.sensors and abs(now - seen.latest) < health.SILENT_AT_LEAST
    }


def _newer_name(table: str, judged: SensorHealth, strangers: Mapping[str, float]) -> str:
    """What to do where a silent sensor may be one that speaks under another name; else nothing."""
    if judged.health not in QUIET:
        return ""
    never = judged.health is Health.NEVER
    likely = [each for each, begun in strangers.items() if never or begun > judged.since - MINUTE]
    if not 1 <= len(likely) <= NAMED:
        return ""
    put = likely[0] if len(likely) == 1 else "NAME"
    asked = f"is {' or '.join(likely)} its new name?"
    return f'{asked} Then put address = "{put}" below {table}; else check its cable'


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


def _carbon_dioxide(found: dict[str, JudgedSensor], air: Place | None) -> float | None:
    if air is None:
        return None
    last = found[air.sensor].heard.last
    return None if last is None else last.carbon_dioxide
