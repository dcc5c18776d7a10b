"""From layers to sessions: which layers when, in how many batches, and how each bonds to the last.

*Theory of operation.* A session begins at a start of the strip that is a go, within working hours that
leave time for it. The next one begins inside the recoat window of the layers before it (its early edge
counts), as soon as they no longer slide. If no such start is a go it begins when they are ready to sand, and
then the bond is a mechanical one: wash, abrade. The other side begins when this one is firm. Times of a
session count from its last resin. Layers a session are limited by the heat they make together. What finds
no start within the strip is said to be left over, and how to leave what is laid.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from curewatch.advice.judge.batches import LARGEST, Batches, split
from curewatch.advice.plan.windows import Span, Strip
from curewatch.units import DAY, MINUTE

SETTING_OUT = 15 * MINUTE  # before the first batch: gloves, cloth laid ready, scale (assumed)
MIXING = 3 * MINUTE  # a batch: weigh, stir, scrape, stir (common practice)

LEAVE = (
    "Press peel ply onto the last layer and leave it on. Tear it off and abrade when it is ready to sand, "
    "then go on"
)
FIRST, CHEMICAL, MECHANICAL = "on the prepared ground", "chemical", "mechanical: clean and abrade first"


class Work(NamedTuple):
    """One layer's share of the work."""

    number: int
    side: str
    resin: float  # mixed, with its waste [kg]
    time: float  # to wet it out [s]


class Session(Struct, frozen=True):
    """One go: begin, end, layers, batches, and how it bonds to what is under it."""

    start: float  # UTC [s]
    end: float
    layers: tuple[Work, ...]
    batches: Batches | None  # none: no cup can be used up before it kicks
    bond: str
    next_from: float | None  # UTC, when the next layer may go on it
    next_before: float | None  # UTC, until when it still bonds chemically
    probability: float
    firm: float | None = None  # UTC, of its last resin, late edge [s]
    ready_to_sand: float | None = None  # UTC, of its last resin, late edge [s]
    leave: str = ""  # how to leave it, where the next layer does not go on within its recoat window


class Schedule(Struct, frozen=True):
    """All sessions that fit, and the layers that do not."""

    sessions: tuple[Session, ...]
    left_over: tuple[Work, ...]
    layers_in_one_go: int


Laid = tuple[float, int]  # when a session began [s], and its layers
NextLayer = Callable[  # such a session, and those of a day on which it lies -> from, before [s]
    [Laid, tuple[Laid, ...]], tuple[float | None, float | None]
]


class WorkPace(NamedTuple):
    """How the work is done."""

    layers_in_one_go: int
    pot_life: Callable[[float, Span], float]  # mass [kg], while it may be mixed -> [s]
    working: tuple[Span, ...]
    smallest: float  # batch that the scale weighs well enough [kg]
    largest: float = LARGEST  # batch that is mixed [kg]
    next_layer: NextLayer | None = None  # of as many layers as are laid at once; the strip's if none
    usual: float | None = None  # batch that somebody configured or asked for [kg]


def schedule(works: tuple[Work, ...], strip: Strip, pace: WorkPace) -> Schedule:
    """Lay the work into the strip's starts, as early as it fits."""
    left, sessions = works, list[Session]()
    while left:
        found = _next(left, tuple(sessions), strip, pace)
        if found is None:
            break
        sessions.append(found)
        left = left[len(found.layers) :]
    return Schedule(_left(sessions, left), left, pace.layers_in_one_go)


def _left(sessions: list[Session], left: tuple[Work, ...]) -> tuple[Session, ...]:
    """The sessions, each with how it is left where its recoat window passes before the next."""
    following = [session.bond for session in sessions[1:]]
    unfinished = bool(sessions and left) and left[0].side == sessions[-1].layers[-1].side
    following.append(MECHANICAL if unfinished else "")
    return tuple(
        replace(session, leave=LEAVE if bond == MECHANICAL else "")
        for session, bond in zip(sessions, following, strict=bool(sessions))
    )


def _next(left: tuple[Work, ...], done: tuple[Session, ...], strip: Strip, pace: WorkPace) -> Session | None:
    """The earliest session for the next layers: as many as fit into its working hours and one go."""
    side = next((at for at, work in enumerate(left) if work.side != left[0].side), len(left))
    most = min(pace.layers_in_one_go, side)
    for earliest, latest, bond in _spans(left[0], done[-1] if done else None):
        for count in range(most, 0, -1):
            layers = left[:count]
            at = _start(_duration(layers), earliest, latest, strip, pace.working)
            if at is not None:
                return _timed(_session(layers, at, bond, strip, pace), done, pace)
    return None


def _timed(session: Session, done: tuple[Session, ...], pace: WorkPace) -> Session:
    """Its recoat window as thick as it is, and on the sessions below it that are still warm."""
    if pace.next_layer is None:
        return session
    side = session.layers[-1].side
    below = tuple(
        (each.start, len(each.layers))
        for each in done
        if each.layers[-1].side == side and session.start - each.start <= DAY
    )
    opens, closes = pace.next_layer((session.start, len(session.layers)), below)
    return replace(session, next_from=opens, next_before=closes)


def _spans(work: Work, before: Session | None) -> list[tuple[float, float, str]]:
    """Where the next session may begin, the better bond first."""
    if before is None:
        return [(-np.inf, np.inf, FIRST)]
    if work.side != before.layers[-1].side:
        return [] if before.firm is None else [(max(before.end, before.firm), np.inf, FIRST)]
    spans = []
    if before.next_from is not None and before.next_before is not None:
        worked = before.end - before.start
        spans.append((max(before.end, before.next_from + worked), before.next_before, CHEMICAL))
    if before.ready_to_sand is not None:
        spans.append((max(before.end, before.ready_to_sand), np.inf, MECHANICAL))
    return spans


def _start(
    duration: float, earliest: float, latest: float, strip: Strip, working: tuple[Span, ...]
) -> int | None:
    """The first start that is a go in a span, with working hours that leave time for it."""
    for at in np.flatnonzero(strip.starts.probability >= strip.needed).tolist():
        begin = float(strip.starts.start[at])
        inside = any(span.start <= begin and begin + duration <= span.end for span in working)
        if earliest <= begin <= latest and inside:
            return int(at)
    return None


def _duration(layers: tuple[Work, ...]) -> float:
    return SETTING_OUT + sum(work.time for work in layers)


def _session(layers: tuple[Work, ...], at: int, bond: str, strip: Strip, pace: WorkPace) -> Session:
    begin = float(strip.starts.start[at])
    resin, time = sum(work.resin for work in layers), sum(work.time for work in layers)
    mixed = Span(begin, begin + _duration(layers))
    batches = split(
        resin,
        lambda mass: pace.pot_life(mass, mixed),
        resin / time,
        smallest=min(max(pace.smallest, 0.02), pace.largest),
        biggest=pace.largest,
        usual=pace.usual,
    )
    mixing = 0.0 if batches is None else batches.count * MIXING
    end = begin + _duration(layers) + mixing
    opens, closes = _known(strip.starts.laminate_from[at]), _known(strip.starts.laminate_before[at])
    return Session(
        start=begin,
        end=end,
        layers=layers,
        batches=batches,
        bond=bond,
        next_from=opens,
        next_before=closes,
        probability=float(strip.starts.probability[at]),
        firm=_known(strip.starts.firm[at] + end - begin),
        ready_to_sand=_known(strip.starts.ready_to_sand[at] + end - begin),
    )


def _known(utc: float) -> float | None:
    return float(utc) if np.isfinite(utc) else None
