"""A rule over what really happened: met, not met, or cannot be shown; with first and worst breach.

Theory of operation
-------------------
A record's readings are laid on one grid of minutes; a minute without a reading near it is unknown.
A rule looks at the minutes it speaks of and compares each with its limit. One known breach makes it
"not met"; without one, a single unknown minute makes it "cannot be shown". So a gap is never a success.
Minutes that lie nearer to the limit than the sensors can tell are counted beside: ``in_doubt``.
"""

from enum import StrEnum
from hashlib import sha256
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from curewatch.advice.judge.limits import Limit
from curewatch.units import FloatArray


class RuleOutcome(StrEnum):
    """What can be said of a rule."""

    MET = "met"
    NOT_MET = "not-met"
    NOT_SHOWN = "cannot-be-shown"


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


class Spans(Struct, frozen=True):
    """The times a rule may speak of, UTC [s]."""

    first_layer: float
    last_layer: float
    uncured_until: float  # the last layer is tack-free; infinite if it was not when the record ended
    ended: float  # end of the record
    closed: bool  # the job is closed: what was not recorded by now was not done


class Judged(Struct, frozen=True):
    """One rule over the whole record."""

    rule: str
    limit: Limit
    outcome: RuleOutcome
    minutes: int  # the rule speaks of
    outside: int
    unknown: int
    in_doubt: int  # nearer to the limit than the sensors' error
    unfinished: bool = False  # the record ended before what the rule speaks of did
    first: float | None = None  # UTC of the first breach [s]
    worst: float | None = None  # in the limit's unit; the nearest to a breach if none
    worst_at: float | None = None  # UTC [s]


class Judgement(Struct, frozen=True):
    """A rule set over the whole record."""

    name: str
    title: str
    source: str
    rules: tuple[Judged, ...]

    @property
    def edition(self) -> str:
        """The beginning of a digest of its rules and limits: rule sets of one edition judge alike."""
        lines = [f"{each.rule}|{each.limit.value:.9g}|{each.limit.quantity}" for each in self.rules]
        return sha256("\n".join([self.name, self.source, *lines]).encode()).hexdigest()[:8]

    @property
    def outcome(self) -> RuleOutcome:
        """Not met if one rule was not; else cannot be shown if one cannot; else met."""
        found = {rule.outcome for rule in self.rules}
        for outcome in (RuleOutcome.NOT_MET, RuleOutcome.NOT_SHOWN):
            if outcome in found:
                return outcome
        return RuleOutcome.MET if found else RuleOutcome.NOT_SHOWN


class Column(NamedTuple):
    """One quantity over the minutes that a rule speaks of."""

    time: FloatArray  # UTC [s]
    value: FloatArray


def at_least(rule: str, limit: Limit, column: Column, sd: float, least: int = 1) -> Judged:
    """Every minute's value is at or above the limit. ``least`` minutes are needed to say "met".

    ``sd`` [of the quantity].
    """
    return _judge(rule, limit, column, column.value - limit.value, (sd, least))


def at_most(rule: str, limit: Limit, column: Column, sd: float, least: int = 1) -> Judged:
    """Every minute's value is at or below the limit. ``sd`` [of the quantity]."""
    return _judge(rule, limit, column, limit.value - column.value, (sd, least))


def until_cured(judged: tuple[Judged, ...], spans: Spans) -> tuple[Judged, ...]:
    """Where the record ended before the last layer was cured, what was not broken cannot be shown."""
    if spans.uncured_until <= spans.ended:
        return judged
    return tuple(
        replace(
            one,
            unfinished=True,
            outcome=RuleOutcome.NOT_SHOWN if one.outcome is RuleOutcome.MET else one.outcome,
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
    outcome = RuleOutcome.NOT_MET if len(breach) else RuleOutcome.NOT_SHOWN if unknown else RuleOutcome.MET
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


class Stretch(NamedTuple):
    """The part of the conditions between two moments."""

    conditions: Conditions
    inside: np.ndarray

    def of(self, name: str) -> Column:
        """The minutes within the span, with this quantity in each."""
        value: FloatArray = getattr(self.conditions, name)
        return Column(self.conditions.time[self.inside], value[self.inside])


def between(conditions: Conditions, start: float, end: float) -> Stretch:
    """The minutes from ``start`` to ``end``, both included. UTC [s]"""
    return Stretch(conditions, (conditions.time >= start) & (conditions.time <= end))
