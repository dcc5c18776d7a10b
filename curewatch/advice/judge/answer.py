"""The shape of an answer: a verdict, the checks it rests on, and the moments that follow from it.

Pure values. Screens render them, ``--json`` prints :func:`as_plain` of them, the logbook keeps them.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from curewatch.advice.judge.limits import Limit
from curewatch.clock import iso_utc
from curewatch.errors import ExitStatus
from curewatch.phrases import Said
from curewatch.units import celsius_from_kelvin, minute_from_second, percent_from_fraction
from curewatch.wording import Wording, plain_wording


class Verdict(StrEnum):
    """The three answers. Unknown is never go."""

    GO = "go"
    NO_GO = "no-go"
    UNKNOWN = "unknown"

    @property
    def exit_status(self) -> ExitStatus:
        return {
            Verdict.GO: ExitStatus.OK,
            Verdict.NO_GO: ExitStatus.NO_GO,
            Verdict.UNKNOWN: ExitStatus.UNKNOWN,
        }[self]


class Status(StrEnum):
    """What one check says. ``care`` holds, if something is done about it (peel ply)."""

    HOLDS = "holds"
    CARE = "care"
    FAILS = "fails"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Check:
    """One question, what was found and the line it was held against.

    ``spare`` is how far the value, less ``error``, lies on the good side of the limit, in the limit's
    unit: negative fails. ``likelihood`` is the share of the coming hours' paths on which it holds.
    """

    name: str  # stable, kebab case: "condensation-now"
    title: str  # for people
    status: Status
    quantity: str  # as in Limit.quantity
    value: float | None = None
    limit: Limit | None = None
    sense: str = "at least"  # at least | at most
    error: float = 0.0  # what the sensors' error takes away: multiple * sd, in the unit of value
    error_multiple: float = 0.0
    spare: float | None = None
    age: float | None = None  # of the reading it rests on [s]
    sensor: str = ""
    probability: float | None = None
    at: float | None = None  # UTC, when the value occurs, where it lies ahead [s]
    note: Said = ""


@dataclass(frozen=True, slots=True)
class Moment:
    """Something that will happen: early, likely and late, UTC. ``None`` where it does not happen."""

    # use-up | kicks | working-time | gel | laminate-from | laminate-before | tack-free | firm | ready-to-sand
    name: str
    title: str
    early: float | None
    likely: float | None
    late: float | None
    share: float = 1.0  # of the paths on which it happens within the outlook
    note: str = ""


@dataclass(frozen=True, slots=True)
class Lever:
    """One change that makes it a go. What a kind does not use is none."""

    kind: str  # start | warm | dry | surface | resin | batch | tray
    start: float  # UTC, when to begin the work with it [s]
    effort: float  # hours of waiting that it is taken to be worth; ranks only
    probability: float | None = None
    target: float | None = None  # warm: air [K]; dry: humidity [1]; surface: rise [K]; batch: mass [kg]
    begin: float | None = None  # UTC, when to switch it on [s]
    until: float | None = None  # UTC, when it may be switched off [s]
    power: float | None = None  # that is needed at most, on nine of ten paths [W]
    area_power: float | None = None  # surface: of a blanket, at most [W/m2]
    energy: float | None = None  # on the middle path [J]
    water: float | None = None  # taken out, on the middle path [kg]
    resin: str = ""
    warning: Said = ""
    besides: "Lever | None" = None  # the other half of a combination


@dataclass(frozen=True, slots=True)
class Advice:
    """What a person should do about one start with one resin system, and why."""

    verdict: Verdict
    headline: Said
    at: float  # UTC, when this was said [s]
    start: float  # UTC, the start it speaks of [s]
    resin: str
    resin_title: str
    checks: tuple[Check, ...] = ()
    timeline: tuple[Moment, ...] = ()
    probability: float | None = None  # that every check holds until tack-free
    blush: str = "unknown"  # none | peel ply | wash and abrade | unknown
    blush_why: Said = ""
    remedies: tuple[Said, ...] = ()  # what to do about what is unknown or fails
    levers: tuple[Lever, ...] = ()  # what turns the answer, the least effort first
    needed_besides: tuple[Said, ...] = ()  # what is needed whatever is turned
    cautions: tuple[Said, ...] = ()
    basis: str = ""  # what the coming hours are assumed from
    peroxide_percent: float | None = None  # by mass of resin; of an epoxy none
    peroxide_assumed: bool = False  # nobody gave that dose

    def check(self, name: str) -> Check:
        """The check of this name; a ``KeyError`` if the advice has none."""
        for check in self.checks:
            if check.name == name:
                return check
        raise KeyError(name)

    def moment(self, name: str) -> Moment:
        """The moment of this name; a ``KeyError`` if the advice has none."""
        for moment in self.timeline:
            if moment.name == name:
                return moment
        raise KeyError(name)


BORDER: dict[
    str, tuple[str, Callable[[float], float], int]
] = {  # quantity -> (name at the border, conversion, decimals)
    "temperature": ("degC", celsius_from_kelvin, 2),
    "difference": ("K", float, 2),
    "fraction": ("percent", percent_from_fraction, 1),
    "duration": ("min", minute_from_second, 1),
    "number": ("1", float, 3),
}
SPAN = BORDER | {"temperature": ("K", float, 2)}  # for differences of a quantity: spare, error


def at_border(quantity: str, value: float | None, *, span: bool = False) -> float | None:
    """A value in the unit people use; ``None`` and what is not finite stay ``None``."""
    if value is None or not math.isfinite(value):
        return None
    _, convert, decimals = (SPAN if span else BORDER)[quantity]
    return round(convert(value), decimals) + 0.0


def stamp(utc: float | None) -> str | None:
    return None if utc is None or not math.isfinite(utc) else iso_utc(utc)


def plain_check(check: Check, words: Wording, now: float) -> dict[str, Any]:
    limit = check.limit
    return {
        "name": check.name,
        "title": check.title,
        "status": str(check.status),
        "unit": BORDER[check.quantity][0],
        "value": at_border(check.quantity, check.value),
        "limit": None if limit is None else at_border(limit.quantity, limit.value),
        "sense": None if limit is None else check.sense,
        "spare": at_border(check.quantity, check.spare, span=True),
        "error": at_border(check.quantity, check.error, span=True),
        "error_multiple": check.error_multiple,
        "probability": None if check.probability is None else round(check.probability, 3),
        "at": stamp(check.at),
        "sensor": check.sensor,
        "age_s": None if check.age is None else round(check.age, 1),
        "limit_tag": None if limit is None else limit.tag,
        "limit_source": None if limit is None else limit.source,
        "limit_replaces": None if limit is None else limit.replaces,
        "note": words.say(check.note, now),
    }


def plain_moment(moment: Moment) -> dict[str, Any]:
    return {
        "name": moment.name,
        "title": moment.title,
        "early": stamp(moment.early),
        "likely": stamp(moment.likely),
        "late": stamp(moment.late),
        "share": round(moment.share, 3),
        "note": moment.note,
    }


TARGETS = {"warm": "temperature", "dry": "fraction", "surface": "difference"}  # lever kind -> quantity


def plain_lever(lever: Lever, words: Wording) -> dict[str, Any]:
    quantity = TARGETS.get(lever.kind)
    grams = lever.target is not None and quantity is None
    return {
        "kind": lever.kind,
        "start": stamp(lever.start),
        "begin": stamp(lever.begin),
        "until": stamp(lever.until),
        "target": round((lever.target or 0.0) * 1000, 1)
        if grams
        else None
        if quantity is None
        else at_border(quantity, lever.target),
        "target_unit": "g" if grams else BORDER[quantity][0] if quantity else None,
        "power_w": None if lever.power is None else round(lever.power),
        "power_w_per_m2": None if lever.area_power is None else round(lever.area_power),
        "energy_kwh": None if lever.energy is None else round(lever.energy / 3.6e6, 1),
        "water_kg": None if lever.water is None else round(lever.water, 2),
        "resin": lever.resin,
        "probability": None if lever.probability is None else round(lever.probability, 3),
        "warning": words.say(lever.warning),
        "besides": None if lever.besides is None else plain_lever(lever.besides, words),
    }


def as_plain(advice: Advice, words: Wording | None = None) -> dict[str, Any]:
    """The advice as plain values for JSON: stamps in ISO 8601 UTC, units as people use them.

    Its texts are by ``words``, else in degC, kelvin, grams and 24 hours, UTC.
    """
    words = words or plain_wording()
    return {
        "verdict": str(advice.verdict),
        "headline": words.say(advice.headline, advice.at),
        "at": stamp(advice.at),
        "start": stamp(advice.start),
        "resin": advice.resin,
        "resin_title": advice.resin_title,
        "peroxide_percent": advice.peroxide_percent,
        "peroxide_assumed": advice.peroxide_assumed,
        "probability": None if advice.probability is None else round(advice.probability, 3),
        "checks": [plain_check(check, words, advice.at) for check in advice.checks],
        "timeline": [plain_moment(moment) for moment in advice.timeline],
        "blush": advice.blush,
        "blush_why": words.say(advice.blush_why, advice.at),
        "remedies": [words.say(remedy, advice.at) for remedy in advice.remedies],
        "levers": [plain_lever(lever, words) for lever in advice.levers],
        "needed_besides": [words.say(needed, advice.at) for needed in advice.needed_besides],
        "cautions": [words.say(caution, advice.at) for caution in advice.cautions],
        "basis": advice.basis,
    }
