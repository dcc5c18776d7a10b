"""The evening's answer as lines of text: ten of them, and with ``--why`` everything it rests on.

Pure: a document and a wording in, lines out, none wider than 80 columns. The first line is the answer;
a person at two metres reads that one. A caution stands before the step that it belongs to, and is never
the line that is dropped.
"""

import math
from collections.abc import Callable, Iterator, Sequence

from curewatch.answers.document import SentenceDocument, moment, spoken
from curewatch.answers.parts import MomentDocument
from curewatch.answers.tonight import CheckDocument, TonightDocument
from curewatch.cli.screens import levers
from curewatch.cli.screens.lines import MORE, WIDTH, LineGroup, fitting, worst, wrapped
from curewatch.cli.screens.marks import next_marks
from curewatch.safe_text import safe_line
from curewatch.units import MINUTE
from curewatch.wording import UNKNOWN, Wording, brief, dosed, duration, in_ten

ANSWER = {"go": "GO", "no-go": "NO-GO", "unknown": "UNKNOWN"}
COLOUR = {"go": "green", "no-go": "red", "unknown": "yellow"}  # beside the word, never alone
TURNS = {"go": "What makes it surer", "no-go": "What turns the answer", "unknown": "What to do"}
MARK = {"holds": "ok", "care": "CARE", "fails": "FAILS", "unknown": "??"}
SENSE = {"at-least": ">=", "at-most": "<="}
CHANCES = {"together", "sets"}  # checks whose value is itself a chance
PLACE = 24  # columns of the shed's name
MARKS = 3  # times on the first screen


def lines(advice: TonightDocument, wording: Wording, place: str = "", *, why: bool = False) -> list[str]:
    """The answer in ten lines; with ``why`` also all that it rests on."""
    return [*first(advice, wording, place), *(behind(advice, wording) if why else [])]


# ---- the first screen


def first(advice: TonightDocument, wording: Wording, place: str) -> list[str]:
    """Verdict, reason, chance, caution, step, times, what to watch: at most :data:`MOST` lines."""
    caution = wrapped(_said(advice.step_caution, advice, wording))
    head = [_verdict(advice, wording, place), *wrapped(reason(advice, wording)), *caution]
    step, *further = _steps(advice, wording) or [[]]
    groups = [LineGroup(head, 0), LineGroup(step, 0), *(LineGroup(each, 3) for each in further)]
    groups += [LineGroup(each, 2) for each in _besides(advice, wording)]
    if advice.verdict == "go":
        marks = next_marks(advice.timeline, moment(advice.start), wording, MARKS)
        groups += [LineGroup([each], 2) for each in marks]
    if advice.stock_short is not None:
        groups.append(LineGroup(wrapped(f"{_said(advice.stock_short, advice, wording)}."), 1))
    return fitting([*groups, LineGroup(_last(advice, wording), 1)])


def reason(advice: TonightDocument, wording: Wording) -> str:
    """The one reason, and the chance that every check holds; none beside a no-go that no chance is behind."""
    said = safe_line(_said(advice.headline, advice, wording)) + "."
    decided = advice.deciding in {"together", "sets"}  # its number is the chance
    if advice.probability is None or decided:
        return said
    if advice.verdict == "go":
        return f"{said} Chance that every check holds: {wording.chance(advice.probability)}."
    if advice.probability >= (advice.needed_probability or 0.0):
        return said
    asked = wording.asked(advice.needed_probability)
    return f"{said} Chance: {wording.chance(advice.probability)}; you ask for {asked}."


def _verdict(advice: TonightDocument, wording: Wording, place: str) -> str:
    start, at = moment(advice.start), moment(advice.at)
    when = "now" if abs(start - at) < MINUTE else brief(wording.moment(start, at))
    dose = dosed(advice.peroxide_percent, assumed=advice.peroxide_assumed)
    with_dose = f" with {dose}" if dose else ""
    head = f"{ANSWER[advice.verdict]}   {safe_line(advice.resin, 30)}{with_dose}, start {when}"
    room, named = WIDTH - len(head) - 2, safe_line(place, PLACE)
    return f"{head}  {named:>{room}}".rstrip() if room >= len(named) else head[:WIDTH]


def _steps(advice: TonightDocument, wording: Wording) -> list[list[str]]:
    """What to do now; of a no-go the ways that turn it."""
    said = [safe_line(_said(step, advice, wording)) for step in advice.do_now]
    said = [f"{each}{_stop(each)}" for each in said]
    if len(said) < 2:
        return [wrapped(f"Do now: {each[:1].lower()}{each[1:]}") for each in said]
    numbered = [wrapped(f"{number}. {each}") for number, each in enumerate(said, start=1)]
    head = "One of these turns the answer:" if advice.verdict == "no-go" else "Do now:"
    return [[f"  {head}", *numbered[0]], *numbered[1:]]


def _besides(advice: TonightDocument, wording: Wording) -> list[list[str]]:
    """What is needed whatever turns a no-go; of a go it is part of the step."""
    if advice.verdict == "go":
        return []
    return [wrapped(f"Besides: {wording.say(each)}.") for each in advice.needed_besides]


def _last(advice: TonightDocument, wording: Wording) -> list[str]:
    watch = _said(advice.watch, advice, wording)
    return wrapped(f"Watch {watch}. {MORE.strip()}") if watch else [MORE]


def _said(one: SentenceDocument | None, advice: TonightDocument, wording: Wording) -> str:
    return "" if one is None else wording.say(one, moment(advice.at))


def _stop(text: str) -> str:
    return "" if text.endswith((".", ":")) else "."


# ---- why


def behind(advice: TonightDocument, wording: Wording) -> list[str]:
    """Cautions, ways, checks, times, and where the limits come from."""
    sources, at = _Sources(), moment(advice.at)
    checks = [line for check in advice.checks for line in _check(check, advice, wording, sources)]
    parts = [
        _section("Cautions", [wording.retold(wording.say(each, at)) for each in advice.cautions]),
        _section(TURNS[advice.verdict], _to_do(advice, wording)),
        _section("Needed besides", [safe_line(wording.say(each)) for each in advice.needed_besides]),
        ["", f"{'Checks':<44} {'found':>9}  {'limit':<12}{'spare':>8}", *checks],
        _times(advice, wording),
        _section("Ranges told here before", [each.text for each in advice.score]),
        _section("Times are for", _layer(advice)),
        _section("Forecast used", (advice.basis,) if advice.basis else ()),
        ["", "Where the limits come from", *sources.lines(wording)] if sources.known else [],
    ]
    return [line for part in parts for line in part]


def _to_do(advice: TonightDocument, wording: Wording) -> Iterator[str]:
    """What mends what is unknown; what would make it a go."""
    yield from (safe_line(wording.say(remedy, moment(advice.at))) for remedy in advice.remedies)
    yield from (safe_line(line) for line in levers.lines(advice.levers, wording, moment(advice.start)))


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
            yield from wrapped(safe_line(wording.retold(words)), f"  {letter}  ", "     ")


def _check(check: CheckDocument, advice: TonightDocument, wording: Wording, sources: _Sources) -> list[str]:
    missing = UNKNOWN if check.status == "unknown" and check.limit is not None else ""
    found = worst(check)
    chance = check.name in CHANCES
    value = (
        missing if found is None else in_ten(found / 100.0) if chance else _worded(found, check.unit, wording)
    )
    limit = (
        ""
        if check.limit is None
        else wording.asked(check.limit / 100.0)
        if chance
        else _worded(check.limit, check.unit, wording)
    )
    if check.sense is not None:
        limit = f"{SENSE[check.sense]} {limit}"
    spare = "" if check.spare is None or chance else _signed(check.spare, check, wording)
    head = (
        f"  {MARK[check.status]:<5} {check.title:<36} {value:>9}  {limit:<12}{spare:>8}   "
        f"{sources.letter(check)}"
    )
    detail = "; ".join(_details(check, advice, wording))
    return [head.rstrip(), *(wrapped(safe_line(detail), "        ") if detail else [])]


def _details(check: CheckDocument, advice: TonightDocument, wording: Wording) -> Iterator[str]:
    if check.error:
        yield f"{_span(check.error, check, wording)} allowed for sensor error"
    if check.probability is not None and check.name not in CHANCES:
        yield f"chance that it holds: {wording.chance(check.probability)}"
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
    return ["", "Times (8 in 10 lie between early and late)", head] + [
        line for each in advice.timeline for line in _moment(each, moment(advice.start), wording)
    ]


def _moment(each: MomentDocument, start: float, wording: Wording) -> list[str]:
    early = wording.foreseen(moment(each.early), start, math.floor)
    likely = wording.foreseen(moment(each.likely), start)
    late = wording.foreseen(moment(each.late), start, math.ceil)
    row = f"  {each.title:<32}{early:>14} {likely:>14} {late:>14}"
    return [row, *(wrapped(safe_line(each.note), "        ") if each.note else [])]


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
    if spare < 0 and not said.startswith(("-", "−")):  # too little to show, and yet short
        return f"−{said}"
    return said.replace("-", "−") if spare < 0 else f"+{said}"


def _section(title: str, said: Sequence[str] | Iterator[str]) -> list[str]:
    words = list(said)
    return ["", title, *(line for one in words for line in wrapped(one))] if words else []


def _layer(advice: TonightDocument) -> tuple[str, ...]:
    """The layer that the times are for."""
    return () if advice.layer_mm is None else (f"a layer of {advice.layer_mm:g} mm on {advice.layer_on}",)
