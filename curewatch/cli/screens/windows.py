"""The coming windows: a strip that is read at a glance, a table of them, and what limits the rest.

One character is a quarter of an hour, one row half a day, or a quarter of one on a narrow terminal. What
a character means is said by the character alone, never by its colour.
"""

from collections import Counter
from collections.abc import Iterator
from itertools import groupby
from textwrap import wrap

from curewatch.answers.document import moment
from curewatch.answers.windows import WindowDocument, WindowsDocument, WindowsResinDocument
from curewatch.cli.safe_text import safe_line
from curewatch.units import minute_from_second
from curewatch.wording import Wording, day

WIDTH = 80
GO_NEXT, GO, DOUBTFUL, NO = "G", "g", "~", "."
LEGEND = (
    f"{GO_NEXT} go, and the next layer fits into its window within your hours",
    f"{GO} go, but the next layer does not: it will need abrading, or a night shift",
    f"{DOUBTFUL} doubtful: all checks hold on half of the paths or more, not on enough",
    f"{NO} no-go",
)
SHOWN = 4  # windows a table lists for each resin


COLOUR = {"go": "green", "no-go": "red", "unknown": "yellow"}  # beside the word, never alone


def lines(answer: WindowsDocument, wording: Wording, width: int = WIDTH) -> list[str]:
    """The whole screen: the answer, a strip and a table for each resin system, the legend."""
    now = moment(answer.at)
    if answer.verdict == "unknown":
        return [
            "UNKNOWN: no window can be told from these readings",
            *(f"  {wording.say(doubt, now)}" for doubt in answer.remedies),
        ]
    shown = wrap(_answer(answer, wording, now), WIDTH, subsequent_indent="  ")
    for one in answer.resins:
        name = f"{one.resin}: {one.resin_title}" if one.resin_title else one.resin
        shown += ["", safe_line(name, WIDTH), *_strip(one, wording, width)]
        shown += _table(one, wording, now, answer.every_min)
    shown += ["", "Each sign is a quarter of an hour:", *(f"  {line}" for line in LEGEND)]
    return [*shown, *wrap(f"The coming hours: {safe_line(answer.basis)}", WIDTH, subsequent_indent="  ")]


def marks(one: WindowsResinDocument) -> str:
    """One character for each start."""
    signs = {"go": GO, "doubtful": DOUBTFUL, "no-go": NO}
    return "".join(GO_NEXT if start.next_layer_fits else signs[start.verdict] for start in one.starts)


def _answer(answer: WindowsDocument, wording: Wording, now: float) -> str:
    """The first line: the next window of any resin, or that there is none."""
    found = [(window.start, one.resin, window) for one in answer.resins for window in one.windows]
    if not found:
        return f"NO WINDOW in the coming {answer.ahead_h:.0f} hours"
    begin, resin, window = min(found, key=lambda each: each[0])
    soon = minute_from_second(moment(begin) - now) < answer.every_min
    when = "now" if soon else wording.moment(moment(begin), now)
    until = wording.moment(moment(window.end), now)
    span = f"start at {when}" if window.start == window.end else f"start from {when} to {until}"
    return f"NEXT WINDOW   {safe_line(resin, 30)}, {span}"


def _strip(one: WindowsResinDocument, wording: Wording, width: int) -> Iterator[str]:
    """Half a day a row, or as many hours of it as fit, with the local hours above them."""
    hours = 12 if width >= WIDTH else 6
    margin = 14 if width >= WIDTH else 11
    signs = zip(one.starts, marks(one), strict=True)
    local = [(wording.local(moment(start.start)), sign) for start, sign in signs]
    for (date, part), row in groupby(local, key=lambda cell: (cell[0].date(), cell[0].hour // hours)):
        cells = list(row)
        first = cells[0][0]
        signs_of_row = " " * (first.hour % hours * 4 + first.minute // 15) + "".join(
            sign for _, sign in cells
        )
        quarters = [signs_of_row[at : at + 4] for at in range(0, len(signs_of_row), 4)]
        above = (_hour(hour, wording) for hour in range(part * hours, (part + 1) * hours))
        yield " " * margin + " ".join(above).rstrip()
        yield f"{'  ' if hours == 12 else ''}{day(date, date)}".ljust(margin) + " ".join(quarters).rstrip()


THICKER = "before: for one film; a thicker layer may close its window earlier"


def _hour(hour: int, wording: Wording) -> str:
    """The four columns above an hour's signs."""
    if wording.twelve_hours:
        return f"{hour % 12 or 12}{'pm' if hour >= 12 else 'am'}".ljust(4)
    return f"{hour:02d}  "


def _table(one: WindowsResinDocument, wording: Wording, now: float, every_min: float) -> list[str]:
    """The windows, best start first said; or what limits, if there is none."""
    if not one.windows:
        return _limits(one, every_min)
    head = f"  {'':<3}{'start from - to':<25}{'best':<12}{'holds':>6} {'next layer from - before':<27}"
    rows = [_row(number, window, wording, now) for number, window in enumerate(one.windows[:SHOWN], start=1)]
    more = len(one.windows) - SHOWN
    return [
        "",
        head.rstrip(),
        *rows,
        *([f"  and {more} more"] if more > 0 else []),
        *(["  (" + THICKER + ")"] if any(each.laminate_before for each in one.windows[:SHOWN]) else []),
        *_limits(one, every_min),
    ]


def _row(number: int, window: WindowDocument, wording: Wording, now: float) -> str:
    span = wording.band(moment(window.start), moment(window.end), now)
    best, opens, closes = (
        brief(wording.moment(moment(text), now))
        for text in (window.best, window.laminate_from, window.laminate_before)
    )
    return (
        f"  {number:<3}{brief(span):<25}{best:<12}{100 * window.probability:>4.0f} % {opens} - {closes}"
    ).rstrip()


def brief(text: str) -> str:
    """Without the day of the month and the month: the coming days need only their names."""
    words = text.split()
    return " ".join(
        word
        for at, word in enumerate(words)
        if not (_is_month(word) or (at + 1 < len(words) and _is_month(words[at + 1])))
    )


def _is_month(word: str) -> bool:
    return word in {"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"}


def _limits(one: WindowsResinDocument, every_min: float) -> list[str]:
    """What forbids most often where it is not a go; nothing where every start is one."""
    short = Counter(start.limited_by for start in one.starts if start.limited_by is not None)
    if not short:
        return []
    title, times = short.most_common(1)[0]
    best = max(start.probability for start in one.starts)
    tail = "" if one.windows else f"; at best {100 * best:.0f} % of paths hold"
    said = f"  limited by: {title} ({times * every_min / 60:.0f} h of starts){tail}"
    return wrap(said, WIDTH, subsequent_indent="    ")
