"""Alerts that tell of a chance: *go now* and until when, and *tonight*, one line at a chosen hour.

Both look at the starts of the coming hours, which costs as much as a verdict. So they look only at the
moment at which they would ring; while they are active they keep their words.
"""

from collections.abc import Callable, Iterator

from msgspec import Struct

from curewatch.advice.alert.alerts import ActiveAlert, AlertKind, Key, Signal, State
from curewatch.advice.judge.answer import Advice, Verdict
from curewatch.advice.plan.windows import GoWindow, Span, Strip
from curewatch.phrases import Said, phrase
from curewatch.units import HOUR, MINUTE

AHEAD = 14 * HOUR  # how far starts are looked at [s]
EVERY = 30 * MINUTE
CLEARLY = 0.05  # above the probability that is asked, so that a go which comes and goes does not ring
LASTS = 3 * HOUR  # the daily line is active for so long [s]
PEEL_PLY = {"none": "", "peel-ply": " with peel ply", "wash-and-abrade": "; wash and abrade afterwards"}


class Chances(Struct, frozen=True):
    """What the two alerts rest on."""

    now: float  # UTC [s]
    working: tuple[Span, ...]  # when somebody is in the shed
    advice: Callable[[], Advice]  # for a start now
    strip: Callable[[], Strip | None]  # of the coming starts; None where nothing is known
    at: Callable[[float], Advice]  # for a start at a moment [UTC s]
    needed: float  # the probability that makes a go [1]
    tells_go: bool = True
    hour: float | None = None  # UTC, of the last daily line, or of the next; None for no such line [s]
    work: Callable[[], str] = lambda: ""  # jobs and parts that wait for it; empty where none is open

    def said(self, words: str, **values: Said | float) -> Said:
        """Those words, the work that they concern first."""
        work = self.work()
        return phrase("{work}: " + words, work=work, **values) if work else phrase(words, **values)

    def manned(self, moment: float) -> bool:
        """Whether somebody is there: nobody is sent to mix at half past one. [s]"""
        return any(span.start <= moment < span.end for span in self.working)


def openings(chances: Chances, active: State) -> Iterator[Signal]:
    """The signals of both; what is no longer asked for clears what was told."""
    go, line = Key(AlertKind.GO_NOW), Key(AlertKind.TONIGHT)
    if chances.tells_go:
        yield go_now(chances, active.get(go))
    elif go in active:
        yield Signal(go, False, True, "no longer asked for", hold=0.0)
    if chances.hour is not None:
        yield tonight(chances, chances.hour, active.get(line))
    elif line in active:
        yield Signal(line, False, True, "no longer asked for", hold=0.0)


def go_now(chances: Chances, standing: ActiveAlert | None) -> Signal:
    """The shed is fit for a start, and somebody is there."""
    key = Key(AlertKind.GO_NOW)
    if not chances.manned(chances.now):
        return Signal(key, False, True, "no longer in working hours", hold=0.0)
    advice = chances.advice()
    if advice.verdict is not Verdict.GO:
        return Signal(key, False, True, "no longer go", hold=0.0)
    if standing is not None:
        told = standing.text, standing.advised, standing.due
        if standing.due is not None and standing.due <= chances.now:  # it is still a go, beyond what was told
            told = chances.said("go now with {resin}", resin=advice.resin), standing.advised, None
        return Signal(key, True, False, *told)
    if round((advice.probability or 0.0) - chances.needed, 3) < CLEARLY:
        return Signal(key, False, False, "go, but only just")
    until = _until(chances)
    words = "go now with {resin}" + ("" if until is None else "; start before {until:moment}")
    text = chances.said(words, resin=advice.resin, until=until or 0.0)
    advised = "Ask again before you mix: curewatch tonight"
    if PEEL_PLY.get(advice.blush):
        advised = "Have peel ply ready: blush is likely. " + advised
    return Signal(key, True, False, text, advised, until)


def _until(chances: Chances) -> float | None:
    """The last start of the run of starts that are go from now on; None where it has no end in sight."""
    found = chances.strip()
    if found is None or not found.windows or found.windows[0].first > 1:
        return None
    last = found.windows[0].last
    return None if last + 1 >= found.starts.start.size else float(found.starts.start[last])


def tonight(chances: Chances, hour: float, standing: ActiveAlert | None) -> Signal:
    """One line for the coming night, at its hour and once. ``hour`` [s]."""
    key = Key(AlertKind.TONIGHT)
    if not hour <= chances.now < hour + LASTS:
        return Signal(key, False, True, "told", hold=0.0)
    if standing is not None:
        return Signal(key, True, False, standing.text, standing.advised, standing.due)
    text, advised = _line(chances)
    return Signal(key, True, False, text, advised)


def _line(chances: Chances) -> tuple[Said, Said]:
    advice, found = chances.advice(), chances.strip()
    if advice.verdict is Verdict.UNKNOWN or (found is None and advice.verdict is Verdict.GO):
        unknown = chances.said("tonight: unknown, readings are missing")
        return unknown, advice.remedies[0] if advice.remedies else ""
    best = None if found is None else _best(found, chances)
    if found is None or best is None:
        reason = advice.headline if found is None else _reason(found)
        no_go = chances.said("tonight: no-go, {reason}", reason=reason)
        return no_go, "See why: curewatch tonight --why"
    first, last, start = best
    then = chances.at(start)
    opens = then.moment("laminate-before").early if _has(then, "laminate-before") else None
    words = f"tonight: go, start {{first:moment}} to {{last:moment}}{PEEL_PLY.get(then.blush, '')}"
    words += "" if opens is None else "; next layer before {before:moment}"
    told = chances.said(words, first=first, last=last, before=opens or 0.0)
    return told, phrase("Best start {best:moment}. Ask again before you mix.", best=start)


def _best(found: Strip, chances: Chances) -> tuple[float, float, float] | None:
    """The first window in which somebody is there: its first and last start, and the best. [UTC s]"""
    starts = found.starts.start
    for window in found.windows:
        there = [float(starts[at]) for at in _within(window) if chances.manned(float(starts[at]))]
        if there:
            best = float(starts[window.best])
            return there[0], there[-1], best if best in there else there[0]
    return None


def _within(window: GoWindow) -> range:
    return range(window.first, window.last + 1)


def _reason(found: Strip) -> str:
    """What limits the likeliest start."""
    return found.limiting[int(found.starts.probability.argmax())]


def _has(advice: Advice, name: str) -> bool:
    return any(moment.name == name for moment in advice.timeline)
