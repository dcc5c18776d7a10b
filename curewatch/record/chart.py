"""Charts as SVG: a picture is a pure function of what it shows. No script, no style sheet, no link.

Every line differs from the others by dash and label, not by colour alone; every text is escaped.
"""

from collections.abc import Iterator, Sequence
from html import escape
from typing import NamedTuple

import numpy as np

from curewatch.record.words import MONTHS
from curewatch.units import DAY, HOUR, MINUTE, FloatArray
from curewatch.wording import Wording

INK, FAINT, GRID = "#1f2933", "#6b7280", "#dfe3e8"
FONT = "font-family=\"'Libertinus Serif', Georgia, 'Times New Roman', serif\""
POINTS = 640  # bins of a line: more than that cannot be seen


class ChartLine(NamedTuple):
    """One quantity against time."""

    label: str
    time: FloatArray
    value: FloatArray
    colour: str
    dash: str = ""
    width: float = 1.3


class ShadedBand(NamedTuple):
    """A shaded stretch between two values over time."""

    time: FloatArray
    low: FloatArray
    high: FloatArray
    colour: str


class ShadedSpan(NamedTuple):
    """A shaded stretch of time."""

    start: float
    end: float
    colour: str
    label: str = ""


class ChartFlag(NamedTuple):
    """Something that happened at a moment."""

    at: float
    label: str


class Level(NamedTuple):
    """A limit."""

    value: float
    label: str


class RecordChart(NamedTuple):
    """What a chart shows, between two moments, UTC [s]."""

    title: str
    unit: str
    start: float
    end: float
    reader: Wording  # whose clock and zone
    lines: Sequence[ChartLine]
    bands: Sequence[ShadedBand] = ()
    spans: Sequence[ShadedSpan] = ()
    flags: Sequence[ChartFlag] = ()
    levels: Sequence[Level] = ()
    lowest: float | None = None  # of the axis; else what the lines need
    highest: float | None = None
    height: int = 210


class _Frame(NamedTuple):
    """Where things go: the plotting area and its scales."""

    left: float
    top: float
    width: float
    height: float
    start: float
    end: float
    low: float
    high: float

    def x(self, time: FloatArray | float) -> FloatArray:
        return np.asarray(self.left + (np.asarray(time) - self.start) / (self.end - self.start) * self.width)

    def y(self, value: FloatArray | float) -> FloatArray:
        share = (np.asarray(value) - self.low) / (self.high - self.low)
        return np.asarray(self.top + (1 - share) * self.height)


WIDTH, LEFT, RIGHT, FLAGS, FOOT, TITLE = 720, 38, 84, 44, 36, 26


def svg(chart: RecordChart) -> str:
    """The chart as one SVG document."""
    frame = _frame(chart)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {chart.height}" width="{WIDTH}" '
        f'height="{chart.height}" role="img" aria-label="{escape(chart.title)}">'
    )
    parts = [
        head,
        *_spans(chart, frame),
        *_grid(chart, frame),
        *(_band(band, frame) for band in chart.bands),
        *_levels(chart, frame),
        *(path for line in chart.lines for path in _line(line, frame)),
        *_labels(chart, frame),
        *_flags(chart, frame),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def stacked(charts: Sequence[RecordChart]) -> str:
    """Several charts, one above the other with their titles, as one SVG document."""
    tops = np.cumsum([TITLE, *(chart.height + TITLE for chart in charts)])
    whole = int(tops[-1]) - TITLE
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {whole}" width="{WIDTH}" '
        f'height="{whole}" role="img" aria-label="{escape("; ".join(chart.title for chart in charts))}">'
    )
    parts = [head, f'<rect width="{WIDTH}" height="{whole}" fill="#ffffff"/>']
    for top, chart in zip(tops.tolist(), charts, strict=False):
        parts.append(_text(LEFT, top - 8, chart.title, 13))
        parts.append(svg(chart).replace("<svg ", f'<svg y="{top}" ', 1).rstrip())
    return "\n".join([*parts, "</svg>"]) + "\n"


def _frame(chart: RecordChart) -> _Frame:
    low, high = _range(chart)
    end = chart.end if chart.end > chart.start else chart.start + HOUR
    top = FLAGS if chart.flags else 18
    return _Frame(LEFT, top, WIDTH - LEFT - RIGHT, chart.height - top - FOOT, chart.start, end, low, high)


def _range(chart: RecordChart) -> tuple[float, float]:
    values = [line.value for line in chart.lines] + [
        each for band in chart.bands for each in (band.low, band.high)
    ]
    known = np.concatenate([value[np.isfinite(value)] for value in values] or [np.empty(0)])
    limits = [level.value for level in chart.levels]
    low = min([*(known.min(keepdims=True).tolist() if known.size else []), *limits], default=0.0)
    high = max([*(known.max(keepdims=True).tolist() if known.size else []), *limits], default=1.0)
    room = max(0.06 * (high - low), 0.02 * max(abs(high), abs(low)) if high == low else 0.0, 1e-3)
    return (
        low - room if chart.lowest is None else chart.lowest,
        high + room if chart.highest is None else chart.highest,
    )


def _text(
    x: float, y: float, text: str, size: float = 11.5, *, anchor: str = "start", colour: str = INK
) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" fill="{colour}" {FONT}>'
        f"{escape(text)}</text>"
    )


def _rule(x1: float, y1: float, x2: float, y2: float, *, colour: str = GRID, extra: str = "") -> str:
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" '
        f'stroke-width="0.7" {extra}/>'
    )


def _grid(chart: RecordChart, frame: _Frame) -> Iterator[str]:
    right, bottom = frame.left + frame.width, frame.top + frame.height
    for value in _steps(frame.low, frame.high):
        y = float(frame.y(value))
        yield _rule(frame.left, y, right, y)
        yield _text(frame.left - 5, y + 3, f"{value:g}", 11, anchor="end", colour=FAINT)
    yield _text(frame.left - 36, frame.top - 6, chart.unit, 11, colour=FAINT)
    for at, label, day in _ticks(chart):
        x = float(frame.x(at))
        yield _rule(x, frame.top, x, bottom)
        yield _text(x, bottom + 14, label, 11, anchor="middle", colour=FAINT)
        if day:
            yield _text(x, bottom + 27, day, 11, anchor="middle", colour=FAINT)
    yield _rule(frame.left, bottom, right, bottom, colour=FAINT)


def _steps(low: float, high: float) -> list[float]:
    """Round values, four to eight of them."""
    rough = (high - low) / 5
    power = 10.0 ** np.floor(np.log10(rough))
    step = next(each * power for each in (1, 2, 2.5, 5, 10) if each * power >= rough * 0.999)
    first = int(np.ceil(low / step - 1e-9))
    return [round(n * step, 9) + 0.0 for n in range(first, int(high / step + 1e-9) + 1)]


def _ticks(chart: RecordChart) -> Iterator[tuple[float, str, str]]:
    """Local minutes, hours or days, at most a dozen: moment, time, and the day where it is new."""
    length = chart.end - chart.start
    if length < 2 * HOUR:
        yield from _minutes(chart, length)
        return
    hours = next((each for each in (1, 2, 3, 6, 12) if length / HOUR / each <= 13), 24)
    days = max(1, -(-int(length / DAY) // 12))
    shown_day = ""
    for n in range(int(length / HOUR) + 2):
        at = np.ceil(chart.start / HOUR) * HOUR + n * HOUR
        local = chart.reader.local(float(at))
        if at > chart.end or local.hour % hours or (hours == 24 and local.toordinal() % days):
            continue
        day = f"{local.day} {MONTHS[local.month - 1]}"
        yield (
            float(at),
            chart.reader.hour(float(at)) if hours < 24 else day,
            "" if day == shown_day or hours == 24 else day,
        )
        shown_day = day


def _minutes(chart: RecordChart, length: float) -> Iterator[tuple[float, str, str]]:
    """Round minutes of a stretch that may hold no full hour; the day stands under the first."""
    step = next(each for each in (1, 2, 5, 10, 20) if length / MINUTE / each <= 7) * MINUTE
    first = np.ceil(chart.start / step) * step
    for n in range(int((chart.end - first) / step) + 1):
        at = float(first + n * step)
        local = chart.reader.local(at)
        yield at, chart.reader.time(at), f"{local.day} {MONTHS[local.month - 1]}" if n == 0 else ""


def _line(line: ChartLine, frame: _Frame) -> Iterator[str]:
    """One path for each stretch without a gap."""
    there = (line.time >= frame.start) & (line.time <= frame.end)
    for time, value in _stretches(line.time[there], line.value[there]):
        x, y = frame.x(time), frame.y(value)
        points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x.tolist(), y.tolist(), strict=True))
        dash = f' stroke-dasharray="{line.dash}"' if line.dash else ""
        yield (
            f'<polyline points="{points}" fill="none" stroke="{line.colour}" '
            f'stroke-width="{line.width}" stroke-linejoin="round"{dash}/>'
        )


def _stretches(time: FloatArray, value: FloatArray) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Known stretches, thinned so that the lowest and the highest of every bin stay."""
    known = np.isfinite(value)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], known, [False])).astype(np.int8)))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        chosen = _thinned(value[begin:end], max(2, round(POINTS * (end - begin) / max(1, value.size))))
        yield time[begin:end][chosen], value[begin:end][chosen]


def _thinned(value: FloatArray, bins: int) -> np.ndarray:
    if value.size <= 2 * bins:
        return np.arange(value.size)
    edges = np.linspace(0, value.size, bins + 1).astype(int)
    begin, last = edges[:-1], edges[1:] - 1
    place = np.minimum(begin[:, None] + np.arange(np.diff(edges).max()), last[:, None])
    kept = np.zeros(value.size, bool)
    kept[[0, -1]] = kept[begin + value[place].argmin(axis=1)] = kept[begin + value[place].argmax(axis=1)] = (
        True
    )
    return np.flatnonzero(kept)


def _band(band: ShadedBand, frame: _Frame) -> str:
    inside = np.flatnonzero((band.time >= frame.start) & (band.time <= frame.end))
    keep = inside[np.linspace(0, inside.size - 1, min(inside.size, POINTS // 2)).astype(int)]
    x = frame.x(band.time[keep])
    low, high = frame.y(band.low[keep]), frame.y(band.high[keep])
    there = [f"{a:.1f},{b:.1f}" for a, b in zip(x.tolist(), high.tolist(), strict=True)]
    back = [f"{a:.1f},{b:.1f}" for a, b in zip(x.tolist()[::-1], low.tolist()[::-1], strict=True)]
    return f'<polygon points="{" ".join(there + back)}" fill="{band.colour}" fill-opacity="0.16"/>'


def _spans(chart: RecordChart, frame: _Frame) -> Iterator[str]:
    for span in chart.spans:
        begin, end = max(span.start, chart.start), min(span.end, chart.end)
        if end <= begin:
            continue
        x, width = float(frame.x(begin)), float(frame.x(end) - frame.x(begin))
        yield (
            f'<rect x="{x:.1f}" y="{frame.top:.1f}" width="{max(width, 1):.1f}" height="{frame.height:.1f}" '
            f'fill="{span.colour}"/>'
        )
        if span.label and width > 5.8 * len(span.label):
            yield _text(x + 3, frame.top + frame.height - 4, span.label, 10.5, colour=FAINT)


def _levels(chart: RecordChart, frame: _Frame) -> Iterator[str]:
    """Limits, each with its name at the right end: stretches have theirs at the left, flags above."""
    right = frame.left + frame.width
    for level in chart.levels:
        y = float(frame.y(level.value))
        yield _rule(frame.left, y, right, y, colour="#9b1c1c", extra='stroke-dasharray="2 2"')
        above = [float(frame.y(other.value)) for other in chart.levels if other.value > level.value]
        beneath = y - max(above, default=frame.top) < 14  # no room between it and the next one, or the edge
        below = y + (10 if beneath else -3)
        yield _text(right - 4, below, level.label, 10.5, anchor="end", colour="#9b1c1c")


def _labels(chart: RecordChart, frame: _Frame) -> Iterator[str]:
    """Each line's name at its right end, moved apart where they would touch."""
    ends = []
    for line in chart.lines:
        known = np.flatnonzero(np.isfinite(line.value) & (line.time <= frame.end))
        if known.size and line.label:
            ends.append((float(frame.y(line.value[known[-1]])), line))
    last = frame.top - 12.0
    for y, line in sorted(ends, key=lambda end: end[0]):
        last = max(y, last + 12.5)
        yield _text(frame.left + frame.width + 5, last + 3, line.label, 11.5, colour=line.colour)


def _flags(chart: RecordChart, frame: _Frame) -> Iterator[str]:
    """Flags over the plot, in up to three rows so that they do not cover each other."""
    rows = [-1e9] * 3
    for flag in sorted(chart.flags, key=lambda each: each.at):
        if not chart.start <= flag.at <= chart.end:
            continue
        x = float(frame.x(flag.at))
        row = next((n for n in range(3) if rows[n] < x), None)
        yield _rule(x, frame.top - 2, x, frame.top + frame.height, colour=INK, extra='stroke-dasharray="1 2"')
        if row is not None:
            rows[row] = x + 6 * len(flag.label) + 6
            yield _text(x + 1, frame.top - 5 - 12 * row, flag.label, 11)
