"""Every start of the coming days: on what share of the paths it holds, what limits it, what follows.

The same course and the same lines as the verdict on one start, for all starts at once.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from msgspec import Struct

from curewatch.advice.judge import checks, reasons
from curewatch.advice.judge.answer import Check, Status
from curewatch.advice.judge.course import AHEAD as FOLLOWED
from curewatch.advice.judge.course import Course, course
from curewatch.advice.judge.ground import WARMING, known_checks
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.advice.judge.weather import STEP, Paths, from_below, weather
from curewatch.model.mass.buildup import Buildup
from curewatch.order import median
from curewatch.units import HOUR, MINUTE, FloatArray
from curewatch.wording import Wording, sure_window

if TYPE_CHECKING:
    from curewatch.advice.plan.calendar import Appointment

EVERY = 15 * MINUTE  # between starts
AHEAD = 48 * HOUR  # of starts
LENGTH = AHEAD + FOLLOWED + HOUR  # of the outlook that this needs; it begins at the last reading
LAYER = 30 * MINUTE  # s of working time inside its window that a next layer needs (assumed)
MAYBE = 0.5  # share of paths from which a start is shown as doubtful rather than as no


class Span(NamedTuple):
    """A span of time, UTC. [s]"""

    start: float
    end: float


class Starts(NamedTuple):
    """What is foreseen for each start: arrays (starts,)."""

    start: FloatArray  # UTC [s]
    probability: FloatArray  # share of paths on which every check holds until set
    next_layer: FloatArray  # share on which a next layer fits into its window and the working hours
    laminate_from: FloatArray  # UTC, middle of the paths; nan where it does not come [s]
    laminate_before: FloatArray  # UTC, early edge [s]
    set: FloatArray  # UTC, middle [s]
    firm: FloatArray  # UTC, late edge; nan where it does not come [s]
    ready_to_sand: FloatArray  # UTC, late edge; nan where it does not come [s]


class GoWindow(Struct, frozen=True):
    """A run of starts that are a go."""

    first: int  # index of the first start
    last: int
    best: int  # somebody is there; a first coat's face does not warm; then the likeliest, next layer and all


class Strip(Struct, frozen=True):
    """All starts with one resin system."""

    resin: str
    title: str
    starts: Starts
    limiting: tuple[str, ...]  # for each start, the title of the check that holds least often
    windows: tuple[GoWindow, ...]
    needed: float  # share of paths that makes a go
    below: tuple[Check, ...] = ()  # of the face that is laid on
    buildup: Buildup | None = None  # of the layer that its times are for
    warms: frozenset[int] = frozenset()  # starts of a first coat on what breathes out, which warms until gel


def strip(
    question: Question,
    situation: Surfaced,
    outlook: Paths,
    working: tuple[Span, ...],
    *,
    ahead: float = AHEAD,
    every: float = EVERY,
) -> Strip:
    """Judge every start from now on.

    Parameters
    ----------
    situation : Surfaced
        Without trouble: whoever calls has asked :mod:`curewatch.advice.judge.data_quality` first.
    outlook : Paths
        Long enough: :data:`LENGTH`. A start is judged only as far as it reaches.
    working : tuple of Span
        When somebody is in the shed.
    ahead, every : float
        How far, and how finely, starts are looked at. [s]

    Raises
    ------
    OutOfValidity
        The outlook is shorter than the starts, or a path leaves the range of the cure law.
    """
    there = weather(outlook, every * np.ceil(situation.at / every))
    stride = round(every / STEP)
    first = np.arange(0, int(ahead / STEP) + 1, stride, dtype=np.int64)
    first, buildup = first[first < there.time.size - 2], question.buildup_at(float(there.time[0]))
    there, earlier = from_below(there, situation.past, buildup, outlook)
    seen = course(
        question.resin,
        there,
        first + earlier,
        chosen=question.lots,
        peroxide_percent=question.peroxide_percent,
        carbon_dioxide=situation.carbon_dioxide,
        buildup=buildup,
    )
    drawn = checks.lines(seen, question.limits)
    below = () if question.ground is None else known_checks(question.resin, question.ground)
    wrong = next((check for check in below if check.status in {Status.FAILS, Status.UNKNOWN}), None)
    hold = checks.holds(seen, drawn) & (wrong is None)
    needed = question.limits.probability.value
    starts = _starts(seen, hold, working)
    warms = _warms(question, seen)
    return Strip(
        question.resin.name,
        question.resin.title,
        starts,
        _limiting(seen, drawn) if wrong is None else (reasons.trouble(wrong.name),) * seen.start.size,
        _runs(starts, needed, 2.0 * _manned(starts.start, working) - 1.5 * warms),
        needed,
        below,
        buildup,
        frozenset(np.flatnonzero(warms).tolist()),
    )


def _starts(seen: Course, hold: checks.BoolArray, working: tuple[Span, ...]) -> Starts:
    """What each start gives, read off the paths on which every check holds."""
    return Starts(
        seen.start,
        hold.mean(axis=1),
        (hold & _fits(seen, working)).mean(axis=1),
        seen.start + _edge(seen.recoat_from, 0.5),
        seen.start + _edge(seen.laminate_before, 0.1),
        seen.start + _edge(seen.set, 0.5),
        seen.start + _edge(seen.firm, 0.9),
        seen.start + _edge(seen.ready_to_sand, 0.9),
    )


def _warms(question: Question, seen: Course) -> checks.BoolArray:
    """Starts of a first coat whose surface warms while it is wet. (starts,)"""
    if question.ground is None or not question.ground.breathes:
        return np.zeros(seen.start.shape, dtype=bool)
    needed = question.limits.probability.value
    return np.asarray(_edge(seen.warming, needed) > WARMING.value)


def next_layer(
    question: Question, situation: Surfaced, outlook: Paths, start: float
) -> tuple[float | None, float | None]:
    """When the next layer may go on a layer begun at ``start``, and until when it surely bonds. UTC [s]"""
    seen = _laid_at(question, situation, outlook, start)
    edges = (_edge(seen.recoat_from, 0.5), _edge(seen.laminate_before, 0.1))
    opens, closes = (float(start + edge[0]) for edge in edges)
    return (opens if np.isfinite(opens) else None), (closes if np.isfinite(closes) else None)


def hottest(question: Question, situation: Surfaced, outlook: Paths, start: float) -> float:
    """The likely peak of a layer laid at ``start`` on what is warm below. [UTC s] -> [K]"""
    return float(median(_laid_at(question, situation, outlook, start).own_peak, axis=1)[0])


def _laid_at(question: Question, situation: Surfaced, outlook: Paths, start: float) -> Course:
    """What becomes of one layer, begun at ``start``. [UTC s]"""
    buildup, there = question.buildup_at(start), weather(outlook, start, length=FOLLOWED)
    there, earlier = from_below(there, situation.past, buildup, outlook)
    return course(
        question.resin,
        there,
        np.array([earlier]),
        chosen=question.lots,
        peroxide_percent=question.peroxide_percent,
        carbon_dioxide=situation.carbon_dioxide,
        buildup=buildup,
    )


def _limiting(seen: Course, drawn: tuple[checks.CheckLine, ...]) -> tuple[str, ...]:
    """For each start, the trouble on most paths."""
    names = (*(line.name for line in drawn), "sets")
    shares = np.stack([*(line.holds().mean(axis=1) for line in drawn), np.isfinite(seen.set).mean(axis=1)])
    return tuple(reasons.trouble(names[place]) for place in np.argmin(shares, axis=0))


def _fits(seen: Course, working: tuple[Span, ...]) -> checks.BoolArray:
    """Paths on which the next layer's window leaves time within some working hours. (starts, members)"""
    opens = seen.start[:, None] + seen.recoat_from
    closes = seen.start[:, None] + np.where(np.isnan(seen.laminate_before), np.inf, seen.laminate_before)
    fits = np.zeros(opens.shape, dtype=bool)
    for span in working:
        with np.errstate(invalid="ignore"):
            fits |= np.minimum(closes, span.end) - np.maximum(opens, span.start) >= LAYER
    return fits


def _edge(after: FloatArray, share: float) -> FloatArray:
    """The value below which this share of the paths lies, what never comes counted as late. (starts,)"""
    ordered = np.sort(np.where(np.isnan(after), np.inf, after), axis=1)
    found = ordered[:, min(ordered.shape[1] - 1, int(share * ordered.shape[1]))]
    return np.where(np.isinf(found), np.nan, found)


def _manned(start: FloatArray, working: tuple[Span, ...]) -> checks.BoolArray:
    """Starts that lie in somebody's working hours: nobody should be sent to mix at half past one."""
    manned = np.zeros(start.shape, dtype=bool)
    for span in working:
        manned |= (start >= span.start) & (start < span.end)
    return manned


def _runs(starts: Starts, needed: float, liked: FloatArray) -> tuple[GoWindow, ...]:
    """The runs of starts that are a go; the more a start is liked, the sooner it is the best of its run."""
    go = np.concatenate([[False], starts.probability >= needed, [False]])
    begins, ends = np.flatnonzero(~go[:-1] & go[1:]), np.flatnonzero(go[:-1] & ~go[1:]) - 1
    found = []
    for first, last in zip(begins.tolist(), ends.tolist(), strict=True):
        inside = slice(first, last + 1)
        worth = starts.probability[inside] + starts.next_layer[inside] + liked[inside]
        found.append(GoWindow(first, last, first + int(np.argmax(worth))))
    return tuple(found)


def in_order(strips: tuple[Strip, ...]) -> list[tuple[Strip, GoWindow]]:
    """The windows of all resins, the earliest first."""
    pairs = [(one, window) for one in strips for window in one.windows]
    return sorted(pairs, key=lambda pair: float(pair[0].starts.start[pair[1].first]))


def appointments(one: Strip, window: GoWindow, say: Callable[[float], str]) -> "list[Appointment]":
    """A window and the countdowns of its best start, for a calendar. ``say`` writes a moment [s]."""
    from curewatch.advice.plan.calendar import Appointment

    starts, best = one.starts, window.best
    start, opens, closes, done = (
        float(column[best])
        for column in (starts.start, starts.laminate_from, starts.laminate_before, starts.set)
    )
    chance = Wording().chance(float(starts.probability[best]))
    likely = f"Chance that every check holds: {chance}. Ask again before you mix."
    found = [
        Appointment(
            f"Layup window, {one.resin}",
            float(starts.start[window.first]),
            float(starts.start[window.last]) + EVERY,
            f"Best start {say(start)}: {likely}",
            (60,),
        )
    ]
    if np.isfinite(opens) and np.isfinite(closes):
        text = f"Laminate again before {say(closes)}, if started at {say(start)}"
        if sure_window(opens, closes):
            found.append(Appointment(text, opens, closes, "After it: clean, abrade, mechanical bond.", (10,)))
        found.append(Appointment(f"Recoat window closes, {one.resin}", closes, None, text, (60, 30, 10)))
    if np.isfinite(done):
        found.append(Appointment(f"Tack-free about now, {one.resin}", done, None, f"Started {say(start)}."))
    return found
