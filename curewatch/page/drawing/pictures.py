"""The coming two days as a strip, and the chart: as SVG, each with the same in words for who does not see it.

Nothing is told by colour alone: a go is a full column, a doubtful start half of one, a no-go a line.
"""

import math
from collections.abc import Iterator, Sequence

from curewatch.answers.chart import ChartCurveDocument, ChartDocument
from curewatch.answers.windows import UNSEEN, WindowDocument, WindowsDocument, next_layer
from curewatch.clock import utc_from_iso
from curewatch.page.drawing.markup import Markup, joined, tag
from curewatch.units import HOUR, kelvin_from_celsius
from curewatch.wording import Wording, brief

WIDTH, STRIP, CHART, UNDER = 360, 44, 190, 20  # units of a drawing
COLUMN = {"go": STRIP, "doubtful": STRIP // 2, "no-go": 3}
WINDOWS = 4  # shown in words
HOURS = 12.0  # of the chart, on each side of now

Point = tuple[float, float]


def strip(coming: WindowsDocument | None, words: Wording, now: float) -> Markup:
    """Every start of the coming two days, and the windows in words. [UTC s]"""
    if coming is None:
        return tag("p", "Worked out in a moment.")
    if not coming.resins:
        told = [tag("li", words.say(each, now)) for each in coming.remedies]
        return joined(tag("p", f"{UNSEEN[coming.verdict]}."), tag("ul", *told))
    one = coming.resins[0]
    found = [tag("li", _window(each, words, now)) for each in one.windows[:WINDOWS]]
    said = (
        [tag("ol", *found)] if found else [tag("p", f"No window in the coming {coming.ahead_h:.0f} hours.")]
    )
    return joined(tag("p", one.resin, class_="small"), _columns(coming, words), *said)


def _window(window: WindowDocument, words: Wording, now: float) -> str:
    start, end, best = (utc_from_iso(each) for each in (window.start, window.end, window.best))
    said = f"{brief(words.span(start, end, now))}, best {brief(words.moment(best, now))}"
    said += f" ({words.chance(window.probability)})"
    return "; ".join(filter(None, (said, next_layer(window, words, now))))


def _columns(coming: WindowsDocument, words: Wording) -> Markup:
    starts = coming.resins[0].starts
    wide = WIDTH / max(1, len(starts))
    drawn = [
        tag(
            "rect",
            x=round(at * wide, 2),
            y=STRIP - COLUMN[each.verdict],
            width=round(wide * 0.86, 2),
            height=COLUMN[each.verdict],
            class_=each.verdict,
        )
        for at, each in enumerate(starts)
    ]
    begin, every = utc_from_iso(starts[0].start), coming.every_min * 60.0
    hours = _hours(begin, begin + every * len(starts), 12, words)
    return _svg(STRIP + UNDER, "Starts of the coming 48 hours: a full column is a go", *drawn, *hours)


def chart(found: ChartDocument | None, words: Wording, now: float) -> Markup:
    """Surface and dew point, half a day back and ahead, and the layers' windows. [UTC s]"""
    if found is None or not found.time:
        return tag("p", "No chart yet.")
    plot = _Plot(found, words, now)
    windows = (
        tag("rect", x=left, y=4 + 7 * row, width=round(right - left, 1), height=5, class_="window")
        for row, each in enumerate(found.windows[:4])
        for left, right in ((plot.across(utc_from_iso(each.opens)), plot.across(utc_from_iso(each.closes))),)
        if right > left
    )
    bar = tag("line", x1=WIDTH / 2, x2=WIDTH / 2, y1=0, y2=CHART, class_="now")
    drawn = [*plot.curve(found.surface, "surface"), *plot.curve(found.dew_point, "dew")]
    hours = _hours(now - HOURS * HOUR, now + HOURS * HOUR, 6, words, CHART)
    told = f"Surface and dew point from 12 hours ago to 12 hours ahead. {plot.told}"
    legend = tag(
        "p",
        tag("span", "surface", class_="surface"),
        " ",
        tag("span", "dew point", class_="dew"),
        " ",
        tag("span", "window of a layer", class_="window"),
        class_="legend",
    )
    return joined(
        _svg(CHART + UNDER, told, *windows, *drawn, bar, *plot.degrees(), *hours),
        legend,
        tag("p", plot.told, class_="small"),
    )


class _Plot:
    """Where a moment and a temperature stand in the drawing."""

    def __init__(self, found: ChartDocument, words: Wording, now: float) -> None:
        self._words = words
        self._begin = now - HOURS * HOUR
        self._times = [utc_from_iso(each) for each in found.time]
        self._shown = [at for at, time in enumerate(self._times) if abs(time - now) <= HOURS * HOUR]
        curves = (found.surface, found.dew_point)
        every = [
            value
            for curve in curves
            for edge in (curve.low_c, curve.high_c)
            for at in self._shown
            if (value := edge[at]) is not None
        ]
        self._low, self._high = (math.floor(min(every)) - 1, math.ceil(max(every)) + 1) if every else (0, 1)
        self.told = self._now(found, now)

    def across(self, time: float) -> float:
        """Of a moment, within the drawing. [UTC s]"""
        share = (time - self._begin) / (2 * HOURS * HOUR)
        return round(WIDTH * min(1.0, max(0.0, share)), 1)

    def _up(self, celsius: float) -> float:
        return round(CHART * (1.0 - (celsius - self._low) / (self._high - self._low)), 1)

    def curve(self, curve: ChartCurveDocument, name: str) -> Iterator[Markup]:
        """Its band, and its middle above it."""
        high, low = self._points(curve.high_c), self._points(curve.low_c)
        if any(one[1] != other[1] for one, other in zip(high, low, strict=True)):
            yield tag("polygon", points=_path([*high, *reversed(low)]), class_=f"{name} band")
        yield tag("polyline", points=_path(self._points(curve.middle_c)), class_=name)

    def _points(self, values: Sequence[float | None]) -> list[Point]:
        found = ((at, values[at]) for at in self._shown)
        return [(self.across(self._times[at]), self._up(value)) for at, value in found if value is not None]

    def degrees(self) -> Iterator[Markup]:
        """The lowest and the highest temperature that the drawing reaches."""
        for celsius, y in ((self._high, 12), (self._low, CHART - 4)):
            yield tag("text", self._words.temperature(kelvin_from_celsius(celsius)), x=2, y=y)

    def _now(self, found: ChartDocument, now: float) -> str:
        """The last recorded values in words."""
        past = [at for at in self._shown if self._times[at] <= now]
        if not past:
            return ""
        at = past[-1]
        said = [
            f"{name} {self._words.stated(value, 'degC')}"
            for name, value in (
                ("surface", found.surface.middle_c[at]),
                ("dew point", found.dew_point.middle_c[at]),
            )
            if value is not None
        ]
        return f"Now: {', '.join(said)}." if said else ""


def _hours(begin: float, end: float, every: int, words: Wording, below: float = STRIP) -> Iterator[Markup]:
    """Marks at full hours of the shed's day."""
    local = words.local(begin)
    first = begin - local.minute * 60 - local.second - (local.hour % every) * HOUR
    count = int((end - first) // (every * HOUR)) + 1
    for time in (first + number * every * HOUR for number in range(count)):
        share = (time - begin) / (end - begin)
        if 0.03 <= share <= 0.97:
            x = round(WIDTH * share, 1)
            yield tag("line", x1=x, x2=x, y1=below, y2=below + 4, class_="mark")
            yield tag("text", words.hour(time), x=x, y=below + 16, class_="hour")


def _path(points: Sequence[Point]) -> str:
    return " ".join(f"{x},{y}" for x, y in points)


def _svg(height: int, told: str, *inside: Markup) -> Markup:
    return tag(
        "svg", *inside, viewBox=f"0 0 {WIDTH} {height}", role="img", aria_label=told, focusable="false"
    )
