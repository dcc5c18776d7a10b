"""The shape of an answer: a verdict, the checks it rests on, and the moments that follow from it.

Pure values: :mod:`curewatch.answers.tonight` makes the document of them.
"""

from enum import StrEnum

from msgspec import Struct

from curewatch.advice.judge.limits import Limit
from curewatch.errors import ExitStatus
from curewatch.model.mass.buildup import Buildup
from curewatch.phrases import Said


class Verdict(StrEnum):
    """The three answers. Unknown is never go."""

    GO = "go"
    NO_GO = "no-go"
    UNKNOWN = "unknown"

    @property
    def exit_status(self) -> ExitStatus:
        """Of a command that gives this answer."""
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


class Check(Struct, frozen=True):
    """One question, what was found and the line it was held against.

    ``spare`` is how far the value, less ``error``, lies on the good side of the limit, in the limit's
    unit: negative fails. ``probability`` is the share of the coming hours' paths on which it holds.
    """

    name: str  # stable, kebab case: "condensation-now"
    title: str  # for people
    status: Status
    quantity: str  # as in Limit.quantity
    value: float | None = None
    limit: Limit | None = None
    sense: str = "at least"  # at least | at most
    error: float = 0.0  # allowed for the sensors, where they alone decide, in the unit of value
    spare: float | None = None
    age: float | None = None  # of the reading it rests on [s]
    sensor: str = ""
    probability: float | None = None
    at: float | None = None  # UTC, when the value occurs, where it lies ahead [s]
    reason: Said = ""


class Moment(Struct, frozen=True):
    """Something that will happen: early, likely and late, UTC. ``None`` where it does not happen."""

    # use-up | kicks | working-time | gel | laminate-from | laminate-before | tack-free | firm | ready-to-sand
    name: str
    title: str
    early: float | None
    likely: float | None
    late: float | None
    share: float = 1.0  # of the paths on which it happens within the outlook
    note: str = ""


class Lever(Struct, frozen=True):
    """One change that makes it a go. What a kind does not use is none."""

    kind: str  # start | warm | dry | surface | resin | batch | tray | thinner
    start: float  # UTC, when to begin the work with it [s]
    effort: float  # hours of waiting that it is taken to be worth; ranks only
    probability: float | None = None
    target: float | None = (
        None  # warm: air [K]; dry: humidity [1]; surface: rise [K]; batch: mass [kg]; thinner: plies
    )
    switch_on: float | None = None  # UTC, when to switch it on [s]
    switch_off: float | None = None  # UTC, when it may be switched off [s]
    power: float | None = None  # that is needed at most, on 9 of 10 paths [W]
    area_power: float | None = None  # surface: of a blanket, at most [W/m2]
    energy: float | None = None  # on the middle path [J]
    water: float | None = None  # taken out, on the middle path [kg]
    resin: str = ""
    warning: Said = ""
    besides: "Lever | None" = None  # the other half of a combination


class Advice(Struct, frozen=True):
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
    wanted: float | None = None  # the probability from which it is a go
    blush: str = "unknown"  # none | peel ply | wash and abrade | unknown
    blush_reason: Said = ""
    remedies: tuple[Said, ...] = ()  # what to do about what is unknown or fails
    levers: tuple[Lever, ...] = ()  # what turns the answer, the least effort first
    needed_besides: tuple[Said, ...] = ()  # what is needed whatever is turned
    cautions: tuple[Said, ...] = ()
    basis: str = ""  # what the coming hours are assumed from
    peroxide_percent: float | None = None  # by mass of resin; of an epoxy none
    peroxide_assumed: bool = False  # nobody gave that dose
    buildup: Buildup | None = None  # of the layer that its times are for; of a film none

    def check(self, name: str) -> Check:
        """The check of this name; raises ``KeyError`` if the advice has none."""
        for check in self.checks:
            if check.name == name:
                return check
        raise KeyError(name)

    def moment(self, name: str) -> Moment:
        """The moment of this name; raises ``KeyError`` if the advice has none."""
        for moment in self.timeline:
            if moment.name == name:
                return moment
        raise KeyError(name)
