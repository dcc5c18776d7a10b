"""The coming windows: a strip that is read at a glance, a table of them, and what limits the rest.

One character is a quarter of an hour, one row half a day, or a quarter of one on a narrow terminal. What
a character means is said by the character alone, never by its colour.
"""

import math
from collections import Counter
from collections.abc import Iterator
from itertools import groupby

from curewatch.answers.document import moment
from curewatch.answers.windows import (
    UNSEEN,
    WindowDocument,
    WindowsDocument,
    WindowsResinDocument,
    next_layer,
)
from curewatch.cli.screens.lines import MORE, WIDTH, LineGroup, fitting, wrapped
from curewatch.safe_text import safe_line
from curewatch.units import minute_from_second
from curewatch.wording import Wording, brief, day, sure_window

GO_NEXT, GO, DOUBTFUL, NO = "G", "g", "~", "."
LEGEND = (
    f"{GO_NEXT} go, and the next layer fits into its window within your hours",
    f"{GO} go, but the next layer comes outside your hours: abrade before it",
    f"{DOUBTFUL} doubtful: the chance is about even or better, and less than you ask for",
    f"{NO} no-go",
)
SHOWN = 4  # windows a table lists for each resin


COLOUR = {"go": "green", "no-go": "red", "unknown": "yellow"}  # beside the word, never alone


def lines(answer: WindowsDocument, wording: Wording, width: int = WIDTH, *, why: bool = False) -> list[str]:
    """The next windows in ten lines; with ``why`` a strip and a table for each resin system, the legend."""
    now = moment(answer.at)
    if not answer.resins:
        first = [UNSEEN[answer.verdict]]
        groups = [
            LineGroup(wrapped(wording.say(doubt, now)), 1 + (at > 0))
            for at, doubt in enumerate(answer.remedies)
        ]
        return fitting([LineGroup(first, 0), *groups])
    return [*_first(answer, wording, now), *(_behind(answer, wording, width, now) if why else [])]


def _first(answer: WindowsDocument, wording: Wording, now: float) -> list[str]:
    """The next window, those after it, and what forbids the rest."""
    found = sorted(
        ((moment(window.start), one.resin, window) for one in answer.resins for window in one.windows),
        key=lambda each: each[0],
    )
    several = len(answer.resins) > 1
    head = wrapped(_answer(answer, wording, now), "", "  ")
    rows = [
        LineGroup(
            wrapped(_told(number, resin if several else "", window, wording, now)), 0 if number == 1 else 2
        )
        for number, (_, resin, window) in enumerate(found, start=1)
    ]
    limits = [LineGroup(wrapped(_limit(one, answer.every_min, wording)), 1) for one in answer.resins]
    last = "" if found else "  What would turn it: curewatch tonight."
    return fitting(
        [LineGroup(head, 0), *rows, *limits, LineGroup([f"{last}{MORE[1:]}" if last else MORE], 1)]
    )


def _told(number: int, resin: str, window: WindowDocument, wording: Wording, now: float) -> str:
    span = brief(wording.span(moment(window.start), moment(window.end), now))
    which = f"{safe_line(resin, 30)} " if resin else ""
    chance = wording.chance(window.probability)
    said = f"{number}. {which}{span}, best {brief(wording.moment(moment(window.best), now))} ({chance})"
    return "; ".join(filter(None, (said, next_layer(window, wording, now)))) + "."


def _limit(one: WindowsResinDocument, every_min: float, wording: Wording) -> str:
    """What forbids most often where it is not a go; empty where every start is one."""
    short = Counter(start.limited_by for start in one.starts if start.limited_by is not None)
    if not short:
        return ""
    title, times = short.most_common(1)[0]
    said = f"{safe_line(one.resin, 30)}: {title} ({times * every_min / 60:.0f} h of starts)."
    if one.windows:
        return said
    best = max(start.probability for start in one.starts)
    asked = wording.asked(one.needed_probability)
    return f"{said} At best {wording.chance(best)}; you ask for {asked}."


def _behind(answer: WindowsDocument, wording: Wording, width: int, now: float) -> list[str]:
    """A strip and a table for each resin system, and what a sign means."""
    shown: list[str] = []
    for one in answer.resins:
        name = f"{one.resin}: {one.resin_title}" if one.resin_title else one.resin
        shown += ["", safe_line(name, WIDTH), *_strip(one, wording, width)]
        shown += _table(one, wording, now)
        shown += _below(one)
    shown += ["", "Each sign is a quarter of an hour:", *(f"  {line}" for line in LEGEND)]
    return [*shown, *wrapped(f"Forecast used: {safe_line(answer.basis)}", "", "  ")]


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


def _below(one: WindowsResinDocument) -> list[str]:
    """What the face below asks for; of a first coat, which start is the best."""
    told = [*one.below.remarks, *one.below.remedies]
    if any(window.best_warms for window in one.windows):
        told.append("A first coat waits for the day's maximum: what lies below warms and may lift bubbles")
    elif any(start.warms for start in one.starts):
        told.append("Best for a first coat: after the day's maximum, while what lies below cools")
    return [line for each in told for line in wrapped(f"{each}.")]


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


def _hour(hour: int, wording: Wording) -> str:
    """The four columns above an hour's signs."""
    if wording.twelve_hours:
        return f"{hour % 12 or 12}{'pm' if hour >= 12 else 'am'}".ljust(4)
    return f"{hour:02d}  "


def _table(one: WindowsResinDocument, wording: Wording, now: float) -> list[str]:
    """The windows, best start first said."""
    if not one.windows:
        return []
    head = f"  {'':<3}{'start from - to':<25}{'best':<12}{'chance':<15}next layer"
    rows = [_row(number, window, wording, now) for number, window in enumerate(one.windows[:SHOWN], start=1)]
    more = len(one.windows) - SHOWN
    return [
        "",
        head,
        *rows,
        *([f"  and {more} more"] if more > 0 else []),
        *([] if one.layer_mm is None else [f"  (times of a layer of {one.layer_mm:g} mm on {one.layer_on})"]),
    ]


def _row(number: int, window: WindowDocument, wording: Wording, now: float) -> str:
    span = brief(wording.band(moment(window.start), moment(window.end), now))
    best = brief(wording.moment(moment(window.best), now))
    opens = wording.foreseen(moment(window.laminate_from), now)
    closes = wording.foreseen(moment(window.laminate_before), now, math.floor)
    following = f"{opens} - {closes}" if _sure(window) else f"{opens} - none sure"
    chance = wording.chance(window.probability)
    return f"  {number:<3}{span:<25}{best:<12}{chance:<15}{following}".rstrip()


def _sure(window: WindowDocument) -> bool:
    return sure_window(moment(window.laminate_from), moment(window.laminate_before))
