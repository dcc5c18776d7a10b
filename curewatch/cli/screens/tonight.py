"""The evening's answer as lines of text: the answer, what to do, the checks, the times, the origins.

Pure: a document and a wording in, lines out, none wider than 80 columns. The first line is the answer;
a person at two metres reads that one.
"""

from collections.abc import Callable, Iterator, Sequence
from textwrap import wrap

from curewatch.answers.document import moment, spoken
from curewatch.answers.parts import MomentDocument
from curewatch.answers.tonight import CheckDocument, TonightDocument
from curewatch.cli.safe_text import safe_line
from curewatch.cli.screens import levers
from curewatch.units import MINUTE
from curewatch.wording import UNKNOWN, Wording, dosed, duration

WIDTH = 80
ANSWER = {"go": "GO", "no-go": "NO-GO", "unknown": "UNKNOWN"}
COLOUR = {"go": "green", "no-go": "red", "unknown": "yellow"}  # beside the word, never alone
TURNS = {"go": "What makes it surer", "no-go": "What turns the answer", "unknown": "What to do"}
MARK = {"holds": "ok", "care": "CARE", "fails": "FAILS", "unknown": "??"}
SENSE = {"at-least": ">=", "at-most": "<="}


def lines(advice: TonightDocument, wording: Wording, place: str = "") -> list[str]:
    """The whole screen."""
    sources, at = _Sources(), moment(advice.at)
    checks = [line for check in advice.checks for line in _check(check, advice, wording, sources)]
    parts = [
        _answer(advice, wording, place),
        _section("Cautions", [wording.retold(wording.say(each, at)) for each in advice.cautions]),
        _section(TURNS[advice.verdict], _to_do(advice, wording)),
        _section("Needed besides", [safe_line(wording.say(each)) for each in advice.needed_besides]),
        ["", f"{'Checks':<44} {'found':>9}  {'limit':<12}{'spare':>8}", *checks],
        _times(advice, wording),
        _section("The coming hours", (advice.basis,) if advice.basis else ()),
        ["", "Where the limits come from", *sources.lines(wording)] if sources.known else [],
    ]
    return [line for part in parts for line in part]


def _to_do(advice: TonightDocument, wording: Wording) -> Iterator[str]:
    """What mends what is unknown; what would make it a go."""
    yield from (safe_line(wording.say(remedy, moment(advice.at))) for remedy in advice.remedies)
    yield from (safe_line(line) for line in levers.lines(advice.levers, wording, moment(advice.start)))


def headline(advice: TonightDocument, wording: Wording) -> str:
    """The answer in one line, with the number that decided it."""
    said = wording.say(advice.headline, moment(advice.at))
    worst = next((check for check in advice.checks if check.name == advice.deciding), None)
    if worst is None or worst.limit is None or worst.value is None or worst.status == "unknown":
        return said
    found, wanted = (_worded(each, worst.unit, wording) for each in (worst.value, worst.limit))
    error = f", less {_span(worst.error, worst, wording)} sensor error" if worst.error else ""
    return f"{said}: {found}{error}; wanted {spoken(worst.sense or '')} {wanted}"


def _answer(advice: TonightDocument, wording: Wording, place: str) -> list[str]:
    start, at = moment(advice.start), moment(advice.at)
    when = wording.moment(start, at)
    now = " (now)" if abs(start - at) < MINUTE else ""
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

    def letter(self, check: CheckDocument) -> str:
        if check.limit_tag is None:
            return ""
        words = f"{spoken(check.limit_tag)}: {check.limit_source}"
        if check.limit_replaces:
            words += f" (instead of {check.limit_replaces})"
        return self.known.setdefault(words, chr(ord("a") + len(self.known)))

    def lines(self, wording: Wording) -> Iterator[str]:
        for words, letter in self.known.items():
            yield from wrap(
                safe_line(wording.retold(words)),
                WIDTH,
                initial_indent=f"  {letter}  ",
                subsequent_indent="     ",
            )


def _check(check: CheckDocument, advice: TonightDocument, wording: Wording, sources: _Sources) -> list[str]:
    missing = UNKNOWN if check.status == "unknown" and check.limit is not None else ""
    value = missing if check.value is None else _worded(check.value, check.unit, wording)
    limit = "" if check.limit is None else _worded(check.limit, check.unit, wording)
    if check.sense is not None:
        limit = f"{SENSE[check.sense]} {limit}"
    spare = "" if check.spare is None else _signed(check.spare, check, wording)
    first = (
        f"  {MARK[check.status]:<5} {check.title:<36} {value:>9}  {limit:<12}{spare:>8}   "
        f"{sources.letter(check)}"
    )
    detail = "; ".join(_details(check, advice, wording))
    return [first.rstrip(), *(_wrapped(safe_line(detail), "        ") if detail else [])]


def _details(check: CheckDocument, advice: TonightDocument, wording: Wording) -> Iterator[str]:
    if check.error:
        yield f"less {_span(check.error, check, wording)} sensor error ({check.error_multiple:g} sigma)"
    if check.probability is not None and check.name not in {"together", "sets"}:
        yield f"holds on {100 * check.probability:.0f} % of paths"
    if check.sensor and check.age_s is not None and check.unit != "min":
        yield f"{check.sensor}, {duration(max(0.0, check.age_s))} old"
    elif check.sensor:
        yield check.sensor
    if check.reason is not None:
        yield wording.say(check.reason, moment(advice.at))


def _times(advice: TonightDocument, wording: Wording) -> list[str]:
    if not advice.timeline:
        return []
    head = f"  {'':<32}{'early':>14} {'likely':>14} {'late':>14}"
    return ["", "Times (four in five between early and late)", head] + [
        line for each in advice.timeline for line in _moment(each, moment(advice.start), wording)
    ]


def _moment(each: MomentDocument, start: float, wording: Wording) -> list[str]:
    early, likely, late = (
        "not foreseen" if text is None else _short(wording.moment(moment(text), start))
        for text in (each.early, each.likely, each.late)
    )
    row = f"  {each.title:<32}{early:>14} {likely:>14} {late:>14}"
    return [row, *(_wrapped(safe_line(each.note), "        ") if each.note else [])]


def _short(said: str) -> str:
    """``Thu 26 Nov 07:10`` as ``Thu 07:10``: the times of one night need no month."""
    parts = said.split()
    return f"{parts[0]} {' '.join(parts[3:])}" if len(parts) >= 4 else said


def _worded(value: float, unit: str, wording: Wording) -> str:
    say: dict[str, Callable[[float], str]] = {"min": _brief, "1": "{:.2f}".format}
    return say[unit](value) if unit in say else wording.stated(value, unit)


def _brief(minutes: float) -> str:
    """A duration in one unit, so that a column of them lines up."""
    return f"{minutes / 60:.1f} h" if abs(minutes) >= 60 else duration(minutes * MINUTE)


def _span(value: float, check: CheckDocument, wording: Wording) -> str:
    """A difference of the check's quantity."""
    return _worded(value, check.difference_unit, wording)


def _signed(spare: float, check: CheckDocument, wording: Wording) -> str:
    said = _span(spare, check, wording)
    if spare < 0 and not said.startswith("-"):  # too little to show, and yet short
        return f"-{said}"
    return said if spare < 0 else f"+{said}"


def _section(title: str, said: Sequence[str] | Iterator[str]) -> list[str]:
    words = list(said)
    return ["", title, *(line for one in words for line in _wrapped(one))] if words else []


def _wrapped(text: str, indent: str = "  ") -> list[str]:
    return wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
