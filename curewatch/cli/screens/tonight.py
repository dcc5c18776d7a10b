"""The evening's answer as lines of text: the answer, what to do, the checks, the times, the origins.

Pure: an advice and a wording in, lines out, none wider than 80 columns. The first line is the answer;
a person at two metres reads that one.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from textwrap import wrap

from curewatch.advice.judge.answer import Advice, Check, Moment, Status, Verdict
from curewatch.advice.judge.limits import Limit
from curewatch.advice.judge.verdict import deciding
from curewatch.cli.safe_text import safe_line
from curewatch.cli.screens import levers
from curewatch.wording import UNKNOWN, Wording, dosed, duration

WIDTH = 80
ANSWER = {Verdict.GO: "GO", Verdict.NO_GO: "NO-GO", Verdict.UNKNOWN: "UNKNOWN"}
COLOUR = {
    Verdict.GO: "green",
    Verdict.NO_GO: "red",
    Verdict.UNKNOWN: "yellow",
}  # beside the word, never alone
TURNS = {
    Verdict.GO: "What makes it surer",
    Verdict.NO_GO: "What turns the answer",
    Verdict.UNKNOWN: "What to do",
}
MARK = {Status.HOLDS: "ok", Status.CARE: "CARE", Status.FAILS: "FAILS", Status.UNKNOWN: "??"}
SENSE = {"at least": ">=", "at most": "<="}


def lines(advice: Advice, wording: Wording, place: str = "") -> list[str]:
    """The whole screen."""
    sources = _Sources()
    checks = [line for check in advice.checks for line in _check(check, advice, wording, sources)]
    parts = [
        _answer(advice, wording, place),
        _section(
            "Cautions", [wording.retold(wording.say(caution, advice.at)) for caution in advice.cautions]
        ),
        _section(TURNS[advice.verdict], _to_do(advice, wording)),
        _section("Needed besides", [safe_line(wording.say(each)) for each in advice.needed_besides]),
        ["", f"{'Checks':<44} {'found':>9}  {'limit':<12}{'spare':>8}", *checks],
        _times(advice, wording),
        _section("The coming hours", (advice.basis,) if advice.basis else ()),
        ["", "Where the limits come from", *sources.lines(wording)] if sources.known else [],
    ]
    return [line for part in parts for line in part]


def _to_do(advice: Advice, wording: Wording) -> Iterator[str]:
    """What mends what is unknown; what would make it a go."""
    yield from (safe_line(wording.say(remedy, advice.at)) for remedy in advice.remedies)
    yield from (safe_line(line) for line in levers.lines(advice.levers, wording, advice.start))


def headline(advice: Advice, wording: Wording) -> str:
    """The answer in one line, with the number that decided it."""
    said = wording.say(advice.headline, advice.at)
    worst = deciding(advice.checks)
    if worst is None or worst.limit is None or worst.status is Status.UNKNOWN:
        return said
    found = _worded(worst, worst.value, wording)
    if found == UNKNOWN:
        return said
    wanted = _worded(worst, worst.limit.value, wording)
    error = f", less {_span(worst, worst.error, wording)} sensor error" if worst.error else ""
    return f"{said}: {found}{error}; wanted {worst.sense} {wanted}"


def _answer(advice: Advice, wording: Wording, place: str) -> list[str]:
    when = wording.moment(advice.start, advice.at)
    now = " (now)" if abs(advice.start - advice.at) < 60 else ""
    first = f"{ANSWER[advice.verdict]}   {safe_line(advice.resin, 30)}, start {when}{now}"
    if place:
        first = f"{first:<{max(0, WIDTH - len(place) - 1)}} {safe_line(place, 24)}"
    likely = (
        []
        if advice.probability is None
        else [f"  All checks hold on {100 * advice.probability:.0f} % of the paths of the coming hours."]
    )
    dose = dosed(advice.peroxide_percent, assumed=advice.peroxide_assumed)
    with_dose = [f"  With {dose} by mass of resin."] if dose else []
    said = _wrapped(safe_line(headline(advice, wording)) + ".")
    return [first.rstrip()[:WIDTH], *said, *with_dose, *likely]


class _Sources:
    """Letters for the origins of limits, in the order they are first used."""

    def __init__(self) -> None:
        self.known: dict[str, str] = {}  # words of the origin -> letter; bounded by the limits there are

    def letter(self, limit: Limit | None) -> str:
        if limit is None:
            return ""
        words = f"{limit.tag}: {limit.source}"
        if limit.replaces:
            words += f" (instead of {limit.replaces})"
        return self.known.setdefault(words, chr(ord("a") + len(self.known)))

    def lines(self, wording: Wording) -> Iterator[str]:
        for words, letter in self.known.items():
            yield from wrap(
                safe_line(wording.retold(words)),
                WIDTH,
                initial_indent=f"  {letter}  ",
                subsequent_indent="     ",
            )


def _check(check: Check, advice: Advice, wording: Wording, sources: _Sources) -> list[str]:
    value = _worded(check, check.value, wording)
    limit = (
        "" if check.limit is None else f"{SENSE[check.sense]} {_worded(check, check.limit.value, wording)}"
    )
    spare = "" if check.spare is None else _signed(check, wording)
    first = (
        f"  {MARK[check.status]:<5} {check.title:<36} {value:>9}  {limit:<12}{spare:>8}   "
        f"{sources.letter(check.limit)}"
    )
    detail = "; ".join(_details(check, advice, wording))
    return [first.rstrip(), *(_wrapped(safe_line(detail), "        ") if detail else [])]


def _details(check: Check, advice: Advice, wording: Wording) -> Iterator[str]:
    if check.error:
        yield f"less {_span(check, check.error, wording)} sensor error ({check.error_multiple:g} sigma)"
    if check.probability is not None and check.name not in {"together", "sets"}:
        yield f"holds on {100 * check.probability:.0f} % of paths"
    if check.sensor and check.age is not None and check.quantity != "duration":
        yield f"{check.sensor}, {duration(max(0.0, check.age))} old"
    elif check.sensor:
        yield check.sensor
    if check.note:
        yield wording.say(check.note, advice.at)


def _times(advice: Advice, wording: Wording) -> list[str]:
    if not advice.timeline:
        return []
    head = f"  {'':<32}{'early':>14} {'likely':>14} {'late':>14}"
    return ["", "Times (four in five between early and late)", head] + [
        line for moment in advice.timeline for line in _moment(moment, advice, wording)
    ]


def _moment(moment: Moment, advice: Advice, wording: Wording) -> list[str]:
    early, likely, late = (
        "not foreseen" if utc is None else _short(wording.moment(utc, advice.start))
        for utc in (moment.early, moment.likely, moment.late)
    )
    row = f"  {moment.title:<32}{early:>14} {likely:>14} {late:>14}"
    return [row, *(_wrapped(safe_line(moment.note), "        ") if moment.note else [])]


def _short(moment: str) -> str:
    """``Thu 26 Nov 07:10`` as ``Thu 07:10``: the times of one night need no month."""
    parts = moment.split()
    return f"{parts[0]} {' '.join(parts[3:])}" if len(parts) >= 4 else moment


def _worded(check: Check, value: float | None, wording: Wording) -> str:
    if value is None or not math.isfinite(value):
        return UNKNOWN if check.status is Status.UNKNOWN and check.limit is not None else ""
    say: dict[str, Callable[[float], str]] = {
        "temperature": wording.temperature,
        "difference": wording.difference,
        "fraction": wording.percent,
        "duration": _brief,
        "number": lambda number: f"{number:.2f}",
    }
    return say[check.quantity](value)


def _brief(seconds: float) -> str:
    """A duration in one unit, so that a column of them lines up."""
    return f"{seconds / 3600:.1f} h" if abs(seconds) >= 3600 else duration(seconds)


def _span(check: Check, value: float, wording: Wording) -> str:
    """A difference of the check's quantity."""
    if check.quantity in {"temperature", "difference"}:
        return wording.difference(value)
    return _worded(check, value, wording)


def _signed(check: Check, wording: Wording) -> str:
    spare = check.spare or 0.0
    said = _span(check, spare, wording)
    if spare < 0 and not said.startswith("-"):  # too little to show, and yet short
        return f"-{said}"
    return said if spare < 0 else f"+{said}"


def _section(title: str, said: Sequence[str] | Iterator[str]) -> list[str]:
    words = list(said)
    return ["", title, *(line for one in words for line in _wrapped(one))] if words else []


def _wrapped(text: str, indent: str = "  ") -> list[str]:
    return wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
