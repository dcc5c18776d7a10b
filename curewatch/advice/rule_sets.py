"""Rule sets judged over what really happened: held, not held, or not known; with first and worst breach.

Theory of operation
-------------------
A record's readings are laid on one grid of minutes; a minute without a reading near it is unknown.
A rule looks at the minutes it speaks of and compares each with its limit. One known breach makes it
"not held"; without one, a single unknown minute makes it "not known". So a gap is never a success.
Minutes that lie nearer to the limit than the sensors can tell are counted beside: ``in_doubt``.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from curewatch.advice.limits import OWN, Limit, standard, with_own
from curewatch.materials.system import ResinSystem
from curewatch.units import DAY, HOUR, MINUTE, ZERO_CELSIUS, FloatArray

SOCIETY = "classification-society rules for fibre-reinforced craft, workshop conditions"


class Outcome(StrEnum):
    """What can be said of a rule."""

    HELD = "held"
    NOT_HELD = "not held"
    NOT_KNOWN = "not known"


class Conditions(NamedTuple):
    """What was measured, minute by minute: arrays (n,), ``nan`` where nothing is known."""

    time: FloatArray  # UTC, a minute apart [s]
    air_temperature: FloatArray  # [K]
    relative_humidity: FloatArray  # of the shed's air [1]
    surface_temperature: FloatArray  # [K]
    condensation_margin: FloatArray  # surface temperature less dew point [K]
    temperature_sd: float = 0.0  # of the sensors [K]
    humidity_sd: float = 0.0  # [1]
    margin_sd: float = 0.0  # [K]


@dataclass(frozen=True, slots=True)
class Spans:
    """The times a rule may speak of, UTC [s]."""

    first_layup: float
    last_layup: float
    uncured_until: float  # the last layup is tack-free; infinite if it was not when the record ended
    ended: float  # end of the record
    closed: bool  # the job is closed: what was not recorded by now was not done


@dataclass(frozen=True, slots=True)
class Judged:
    """One rule over the whole record."""

    rule: str
    limit: Limit
    outcome: Outcome
    minutes: int  # the rule speaks of
    outside: int
    unknown: int
    in_doubt: int  # nearer to the limit than the sensors' error
    unfinished: bool = False  # the record ended before what the rule speaks of did
    first: float | None = None  # UTC of the first breach [s]
    worst: float | None = None  # in the limit's unit; the nearest to a breach if none
    worst_at: float | None = None  # UTC [s]


@dataclass(frozen=True, slots=True)
class Judgement:
    """A rule set over the whole record."""

    name: str
    title: str
    source: str
    rules: tuple[Judged, ...]

    @property
    def outcome(self) -> Outcome:
        """Not held if one rule was not; else not known if one is not; else held."""
        found = {rule.outcome for rule in self.rules}
        for outcome in (Outcome.NOT_HELD, Outcome.NOT_KNOWN):
            if outcome in found:
                return outcome
        return Outcome.HELD if found else Outcome.NOT_KNOWN


class Column(NamedTuple):
    """One quantity over the minutes that a rule speaks of."""

    time: FloatArray  # UTC [s]
    value: FloatArray


def at_least(rule: str, limit: Limit, column: Column, sd: float, least: int = 1) -> Judged:
    """Every minute's value is at or above the limit. ``least`` minutes are needed to say "held"."""
    return _judge(rule, limit, column, column.value - limit.value, (sd, least))


def at_most(rule: str, limit: Limit, column: Column, sd: float, least: int = 1) -> Judged:
    """Every minute's value is at or below the limit."""
    return _judge(rule, limit, column, limit.value - column.value, (sd, least))


def _until_cured(judged: tuple[Judged, ...], spans: Spans) -> tuple[Judged, ...]:
    """Where the record ended before the last layup was cured, what no breach was seen of is not known."""
    if spans.uncured_until <= spans.ended:
        return judged
    return tuple(
        replace(
            one, unfinished=True, outcome=Outcome.NOT_KNOWN if one.outcome is Outcome.HELD else one.outcome
        )
        for one in judged
    )


def _judge(
    rule: str, limit: Limit, column: Column, room: FloatArray, error_and_least: tuple[float, int]
) -> Judged:
    time, value = column
    sd, least = error_and_least
    known = np.isfinite(room)
    breach = np.flatnonzero(known & (room < -1e-9))
    unknown = int((~known).sum()) + max(0, least - len(time))
    nearest = int(np.nanargmin(room)) if known.any() else None
    outcome = Outcome.NOT_HELD if len(breach) else Outcome.NOT_KNOWN if unknown else Outcome.HELD
    return Judged(
        rule=rule,
        limit=limit,
        outcome=outcome,
        minutes=len(time),
        outside=len(breach),
        unknown=unknown,
        in_doubt=int((known & (np.abs(room) < sd)).sum()),
        first=float(time[breach[0]]) if len(breach) else None,
        worst=None if nearest is None else float(value[nearest]),
        worst_at=None if nearest is None else float(time[nearest]),
    )


class _Stretch(NamedTuple):
    """The part of the conditions between two moments."""

    conditions: Conditions
    inside: np.ndarray

    def of(self, name: str) -> Column:
        value: FloatArray = getattr(self.conditions, name)
        return Column(self.conditions.time[self.inside], value[self.inside])


def _between(conditions: Conditions, start: float, end: float) -> _Stretch:
    return _Stretch(conditions, (conditions.time >= start) & (conditions.time <= end))


# -- the sets -----------------------------------------------------------------------------------


def classed_workshop(conditions: Conditions, spans: Spans) -> Judgement:
    """The workshop of a classed builder, hand lay-up (the 40 % for spraying does not apply).

    Parameters
    ----------
    conditions : Conditions
        Minute by minute.
    spans : Spans

    Returns
    -------
    Judgement

    Source
    ------
    Classification-society rules for FRP craft, workshop text [published]: air at least 18 degC,
    reached 24 h before, within 3 K of its mean in 24 h; humidity at most 80 %; cure of at least 48 h
    at 18 degC or more; temperature and humidity recorded.
    Checked in tests/published/test_rule_sets_published.py
    """
    warm = Limit(ZERO_CELSIUS + 18.0, "temperature", "published", SOCIETY)
    work = _between(conditions, spans.first_layup, spans.last_layup + 48 * HOUR)
    before = _between(conditions, spans.first_layup - DAY, spans.first_layup - 1.0)
    error = conditions.temperature_sd
    return Judgement(
        "classed-workshop",
        "Classed workshop",
        SOCIETY,
        (
            at_least("air at 18 °C or more during work and cure", warm, work.of("air_temperature"), error),
            at_least(
                "18 °C reached 24 h before the work",
                warm,
                before.of("air_temperature"),
                error,
                least=int(DAY / MINUTE),
            ),
            _swing(conditions, spans, error),
            at_most(
                "relative humidity of 80 % or less",
                Limit(0.80, "fraction", "published", SOCIETY),
                work.of("relative_humidity"),
                conditions.humidity_sd,
            ),
            _cured_for(conditions, spans, warm),
            _recorded(conditions, spans),
        ),
    )


def _swing(conditions: Conditions, spans: Spans, error: float) -> Judged:
    """Half the range of the air's temperature in the 24 h up to each minute."""
    limit = Limit(3.0, "difference", "published", SOCIETY)
    covered = _between(conditions, spans.first_layup - DAY, spans.last_layup + 48 * HOUR)
    time, air = covered.of("air_temperature")
    window = int(DAY / MINUTE)
    highest, lowest = _running(air, window, np.fmax), _running(air, window, np.fmin)
    half_range = np.where(np.isnan(air), np.nan, (highest - lowest) / 2)
    told = time >= spans.first_layup
    return at_most("within ± 3 K in any 24 h", limit, Column(time[told], half_range[told]), error)


def _running(value: FloatArray, window: int, extreme: Callable[..., FloatArray]) -> FloatArray:
    """The extreme of the last ``window`` values, by doubling: log2(window) passes; nan is passed over."""
    found, span = value.copy(), 1
    while span < window:
        step = min(span, window - span)
        found[step:] = extreme(found[step:], found[:-step].copy())
        span += step
    return found


def _cured_for(conditions: Conditions, spans: Spans, warm: Limit) -> Judged:
    """How long the air stayed at 18 degC or more after the last layup, without a break."""
    limit = Limit(48 * HOUR, "duration", "published", SOCIETY)
    time, air = _between(conditions, spans.last_layup, spans.last_layup + 48 * HOUR).of("air_temperature")
    cold = np.flatnonzero(air < warm.value)
    until = float(time[cold[0]]) if len(cold) else min(spans.ended, spans.last_layup + 48 * HOUR)
    lasted = until - spans.last_layup
    unknown = int(np.isnan(air).sum())
    if lasted >= limit.value - MINUTE:
        outcome = Outcome.NOT_KNOWN if unknown else Outcome.HELD
    else:
        outcome = Outcome.NOT_HELD if len(cold) or spans.closed else Outcome.NOT_KNOWN
    return Judged(
        rule="cure of 48 h or more at 18 °C or more",
        limit=limit,
        outcome=outcome,
        minutes=len(time),
        outside=0,
        unknown=unknown,
        in_doubt=0,
        first=until if outcome is Outcome.NOT_HELD else None,
        worst=lasted,
        worst_at=until,
    )


def _recorded(conditions: Conditions, spans: Spans) -> Judged:
    """Temperature and humidity are there for every minute of work and cure."""
    limit = Limit(1.0, "fraction", "published", SOCIETY)
    end = min(spans.ended, spans.last_layup + 48 * HOUR)
    stretch = _between(conditions, spans.first_layup, end)
    time, air = stretch.of("air_temperature")
    missing = np.isnan(air) | np.isnan(stretch.of("relative_humidity")[1])
    gaps = np.flatnonzero(missing)
    share = 1.0 - len(gaps) / len(time) if len(time) else 0.0
    outcome = Outcome.HELD if len(time) and not len(gaps) else Outcome.NOT_HELD
    first = float(time[gaps[0]]) if len(gaps) else None
    return Judged(
        rule="temperature and humidity recorded throughout",
        limit=limit,
        outcome=outcome,
        minutes=len(time),
        outside=len(gaps),
        unknown=0,
        in_doubt=0,
        first=first,
        worst=share,
        worst_at=first,
    )


def datasheet(conditions: Conditions, spans: Spans, system: ResinSystem) -> Judgement:
    """The limits of the resin system's own sheet, from the first layup until the last is tack-free."""
    wet = _between(conditions, spans.first_layup, spans.uncured_until)
    error = conditions.temperature_sd

    def origin(key: str) -> tuple[str, str]:
        found = system.origins.get(f"limits.{key}")
        return (found.tag, found.source) if found else ("assumed", f"{system.title}: no origin given")

    limits = system.limits
    lowest = Limit(limits.lowest_temperature, "temperature", *origin("lowest_temperature"))
    highest = Limit(limits.highest_temperature, "temperature", *origin("highest_temperature"))
    damp = Limit(limits.highest_humidity, "fraction", *origin("highest_humidity"))
    return Judgement(
        "datasheet",
        "Resin system's sheet",
        system.title,
        _until_cured(
            (
                at_least("air not colder than the sheet allows", lowest, wet.of("air_temperature"), error),
                at_least(
                    "surface not colder than the sheet allows", lowest, wet.of("surface_temperature"), error
                ),
                at_most("air not warmer than the sheet allows", highest, wet.of("air_temperature"), error),
                at_most(
                    "humidity not above the sheet's",
                    damp,
                    wet.of("relative_humidity"),
                    conditions.humidity_sd,
                ),
            ),
            spans,
        ),
    )


def coating(conditions: Conditions, spans: Spans) -> Judgement:
    """Coating practice: the surface 3 K above the dew point, humidity below 85 %."""
    wet = _between(conditions, spans.first_layup, spans.uncured_until)
    lines = standard()
    return Judgement(
        "coating",
        "Coating practice",
        "ISO 8502-4 practice, quoted second-hand; humidity: common practice",
        _until_cured(
            (
                at_least(
                    "surface 3 K or more above the dew point",
                    lines.condensation_margin,
                    wet.of("condensation_margin"),
                    conditions.margin_sd,
                ),
                at_most(
                    "relative humidity below 85 %",
                    lines.humidity_highest,
                    wet.of("relative_humidity"),
                    conditions.humidity_sd,
                ),
            ),
            spans,
        ),
    )


def own(conditions: Conditions, spans: Spans, limits: Mapping[str, float]) -> Judgement:
    """The user's own limits, those of them that speak of what can be measured afterwards."""
    wet = _between(conditions, spans.first_layup, spans.uncured_until)
    lines = with_own(standard(), {key: value for key, value in limits.items() if key in OWN})
    judged = []
    if "condensation_margin_k" in limits:
        judged.append(
            at_least(
                "surface above the dew point by the margin set",
                lines.condensation_margin,
                wet.of("condensation_margin"),
                conditions.margin_sd,
            )
        )
    if "humidity_highest_percent" in limits:
        judged.append(
            at_most(
                "relative humidity not above the line set",
                lines.humidity_highest,
                wet.of("relative_humidity"),
                conditions.humidity_sd,
            )
        )
    if "temperature_lowest_c" in limits:
        judged.append(
            at_least(
                "air not colder than the line set",
                lines.temperature_lowest,
                wet.of("air_temperature"),
                conditions.temperature_sd,
            )
        )
    if "temperature_highest_c" in limits:
        judged.append(
            at_most(
                "air not warmer than the line set",
                lines.temperature_highest,
                wet.of("air_temperature"),
                conditions.temperature_sd,
            )
        )
    return Judgement(
        "own", "Your own limits", "[limits] in your configuration", _until_cured(tuple(judged), spans)
    )
