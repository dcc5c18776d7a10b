"""The rule sets a record is judged by: classed workshop, resin sheet, coating practice, the user's own."""

from collections.abc import Callable, Mapping

import numpy as np

from curewatch.advice.judge.limits import OWN, Limit, standard, with_own
from curewatch.advice.judge.rules import (
    Column,
    Conditions,
    Judged,
    Judgement,
    RuleOutcome,
    Spans,
    at_least,
    at_most,
    between,
    until_cured,
)
from curewatch.materials.resin import Resin
from curewatch.units import DAY, HOUR, MINUTE, ZERO_CELSIUS, FloatArray

SOCIETY = "classification-society rules for fibre-reinforced craft, workshop conditions"


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
    work = between(conditions, spans.first_layer, spans.last_layer + 48 * HOUR)
    before = between(conditions, spans.first_layer - DAY, spans.first_layer - 1.0)
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
    covered = between(conditions, spans.first_layer - DAY, spans.last_layer + 48 * HOUR)
    time, air = covered.of("air_temperature")
    window = int(DAY / MINUTE)
    highest, lowest = _running(air, window, np.fmax), _running(air, window, np.fmin)
    half_range = np.where(np.isnan(air), np.nan, (highest - lowest) / 2)
    told = time >= spans.first_layer
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
    """How long the air stayed at 18 degC or more after the last layer, without a break."""
    limit = Limit(48 * HOUR, "duration", "published", SOCIETY)
    time, air = between(conditions, spans.last_layer, spans.last_layer + 48 * HOUR).of("air_temperature")
    cold = np.flatnonzero(air < warm.value)
    until = float(time[cold[0]]) if len(cold) else min(spans.ended, spans.last_layer + 48 * HOUR)
    lasted = until - spans.last_layer
    unknown = int(np.isnan(air).sum())
    if lasted >= limit.value - MINUTE:
        outcome = RuleOutcome.NOT_SHOWN if unknown else RuleOutcome.MET
    else:
        outcome = RuleOutcome.NOT_MET if len(cold) or spans.closed else RuleOutcome.NOT_SHOWN
    return Judged(
        rule="cure of 48 h or more at 18 °C or more",
        limit=limit,
        outcome=outcome,
        minutes=len(time),
        outside=0,
        unknown=unknown,
        in_doubt=0,
        first=until if outcome is RuleOutcome.NOT_MET else None,
        worst=lasted,
        worst_at=until,
    )


def _recorded(conditions: Conditions, spans: Spans) -> Judged:
    """Temperature and humidity are there for every minute of work and cure."""
    limit = Limit(1.0, "fraction", "published", SOCIETY)
    end = min(spans.ended, spans.last_layer + 48 * HOUR)
    stretch = between(conditions, spans.first_layer, end)
    time, air = stretch.of("air_temperature")
    missing = np.isnan(air) | np.isnan(stretch.of("relative_humidity")[1])
    gaps = np.flatnonzero(missing)
    share = 1.0 - len(gaps) / len(time) if len(time) else 0.0
    outcome = RuleOutcome.MET if len(time) and not len(gaps) else RuleOutcome.NOT_MET
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


def datasheet(conditions: Conditions, spans: Spans, resin: Resin) -> Judgement:
    """The limits of the resin system's own sheet, from the first layer until the last is tack-free."""
    wet = between(conditions, spans.first_layer, spans.uncured_until)
    error = conditions.temperature_sd

    def origin(key: str) -> tuple[str, str]:
        found = resin.origins.get(f"limits.{key}")
        return (found.tag, found.source) if found else ("assumed", f"{resin.title}: no origin given")

    limits = resin.limits
    lowest = Limit(limits.lowest_temperature, "temperature", *origin("lowest_temperature"))
    highest = Limit(limits.highest_temperature, "temperature", *origin("highest_temperature"))
    damp = Limit(limits.highest_humidity, "fraction", *origin("highest_humidity"))
    return Judgement(
        "datasheet",
        "Resin system's sheet",
        resin.title,
        until_cured(
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
    wet = between(conditions, spans.first_layer, spans.uncured_until)
    lines = standard()
    return Judgement(
        "coating",
        "Coating practice",
        "ISO 8502-4 practice; humidity: common practice",
        until_cured(
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


MEASURED = {
    "condensation_margin": "condensation_margin",
    "humidity_highest": "relative_humidity",
    "temperature_lowest": "air_temperature",
    "temperature_highest": "air_temperature",
}  # limit -> what it is held against


def own(conditions: Conditions, spans: Spans, limits: Mapping[str, float]) -> Judgement:
    """The user's own limits, those of them that speak of what can be measured afterwards.

    ``limits`` has each number in the unit of its key [°C, %, K].
    """
    wet = between(conditions, spans.first_layer, spans.uncured_until)
    lines = with_own(standard(), {key: value for key, value in limits.items() if key in OWN})
    warmth, margin, damp = conditions.temperature_sd, conditions.margin_sd, conditions.humidity_sd
    asked = (
        ("condensation_margin", "surface above the dew point by the margin set", at_least, margin),
        ("humidity_highest", "relative humidity not above the line set", at_most, damp),
        ("temperature_lowest", "air not colder than the line set", at_least, warmth),
        ("temperature_highest", "air not warmer than the line set", at_most, warmth),
    )
    judged = tuple(
        holds(title, getattr(lines, line), wet.of(MEASURED[line]), sd)
        for line, title, holds, sd in asked
        if any(key.startswith(line) for key in limits)
    )
    return Judgement("own", "Your own limits", "[limits] in your configuration", until_cured(judged, spans))
