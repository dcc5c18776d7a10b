"""The coming windows: a strip that is read at a glance, a table of them, and what limits the rest.

One character is a quarter of an hour, one row half a day, or a quarter of one on a narrow terminal. What
a character means is said by the character alone, never by its colour.
"""

from collections import Counter
from collections.abc import Iterator
from itertools import groupby
from textwrap import wrap

from curewatch.advice.plan.windows import EVERY, MAYBE, GoWindow, Strip
from curewatch.cli.safe_text import safe_line
from curewatch.wording import Wording, day

WIDTH = 80
GO_NEXT, GO, DOUBTFUL, NO = "G", "g", "~", "."
LEGEND = (
    f"{GO_NEXT} go, and the next layer fits into its window within your hours",
    f"{GO} go, but the next layer does not: it will need abrading, or a night shift",
    f"{DOUBTFUL} doubtful: all checks hold on half of the paths or more, not on enough",
    f"{NO} no-go",
)
SHOWN = 4  # windows a table lists for each system


def lines(
    strips: tuple[Strip, ...], wording: Wording, now: float, basis: str, width: int = WIDTH
) -> list[str]:
    """The whole screen: the answer, a strip and a table for each resin system, the legend."""
    shown = wrap(_answer(strips, wording, now), WIDTH, subsequent_indent="  ")
    for strip in strips:
        name = f"{strip.resin}: {strip.title}" if strip.title else strip.resin
        shown += ["", safe_line(name, WIDTH), *_strip(strip, wording, width), *_table(strip, wording, now)]
    shown += ["", "Each sign is a quarter of an hour:", *(f"  {line}" for line in LEGEND)]
    return [*shown, *wrap(f"The coming hours: {safe_line(basis)}", WIDTH, subsequent_indent="  ")]


def marks(strip: Strip) -> str:
    """One character for each start."""
    starts = strip.starts
    pairs = zip(starts.probability.tolist(), starts.next_layer.tolist(), strict=True)
    return "".join(_mark(probability, following, strip.needed) for probability, following in pairs)


def _mark(probability: float, following: float, needed: float) -> str:
    if probability >= needed:
        return GO_NEXT if following >= needed else GO
    return DOUBTFUL if probability >= MAYBE else NO


def _answer(strips: tuple[Strip, ...], wording: Wording, now: float) -> str:
    """The first line: the next window of any system, or that there is none."""
    found = [(float(one.starts.start[window.first]), one, window) for one in strips for window in one.windows]
    if not found:
        return "NO WINDOW in the coming 48 hours"
    begin, strip, window = min(found, key=lambda each: each[0])
    when = "now" if begin - now < EVERY else wording.moment(begin, now)
    until = wording.moment(float(strip.starts.start[window.last]), now)
    span = f"start at {when}" if window.first == window.last else f"start from {when} to {until}"
    return f"NEXT WINDOW   {safe_line(strip.resin, 30)}, {span}"


def _strip(strip: Strip, wording: Wording, width: int) -> Iterator[str]:
    """Half a day a row, or as many hours of it as fit, with the local hours above them."""
    hours = 12 if width >= WIDTH else 6
    margin = 14 if width >= WIDTH else 11
    signs = zip(strip.starts.start.tolist(), marks(strip), strict=True)
    local = [(wording.local(start), sign) for start, sign in signs]
    for (date, part), row in groupby(local, key=lambda one: (one[0].date(), one[0].hour // hours)):
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


def _table(strip: Strip, wording: Wording, now: float) -> list[str]:
    """The windows, best start first said; or what limits, if there is none."""
    if not strip.windows:
        return _limits(strip)
    head = f"  {'':<3}{'start from - to':<25}{'best':<12}{'holds':>6} {'next layer from - before':<27}"
    rows = [
        _row(number, strip, window, wording, now)
        for number, window in enumerate(strip.windows[:SHOWN], start=1)
    ]
    more = len(strip.windows) - SHOWN
    return [
        "",
        head.rstrip(),
        *rows,
        *([f"  and {more} more"] if more > 0 else []),
        *(_limits(strip) if strip.starts.probability.min() < strip.needed else []),
    ]


def _row(number: int, strip: Strip, window: GoWindow, wording: Wording, now: float) -> str:
    starts, best = strip.starts, window.best
    span = wording.band(float(starts.start[window.first]), float(starts.start[window.last]), now)
    opens, closes = (
        brief(wording.moment(float(column[best]), now))
        for column in (starts.laminate_from, starts.laminate_before)
    )
    return (
        f"  {number:<3}{brief(span):<25}{brief(wording.moment(float(starts.start[best]), now)):<12}"
        f"{100 * starts.probability[best]:>4.0f} % {opens} - {closes}"
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


def _limits(strip: Strip) -> list[str]:
    """What forbids most often where it is not a go."""
    short = strip.starts.probability < strip.needed
    counted = Counter(title for title, out in zip(strip.limiting, short.tolist(), strict=True) if out)
    title, times = counted.most_common(1)[0]
    hours = times * EVERY / 3600
    best = int(strip.starts.probability.argmax())
    tail = "" if strip.windows else f"; at best {100 * strip.starts.probability[best]:.0f} % of paths hold"
    said = f"  limited by: {title} ({hours:.0f} h of starts){tail}"
    return wrap(said, WIDTH, subsequent_indent="    ")
