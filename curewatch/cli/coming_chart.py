"""The coming 48 hours as a picture: what air, surface and dew point may do, the limits, and the go stretches.

It is drawn by the function that draws a record's shed (:mod:`curewatch.record.shed_panels`).
"""

from collections.abc import Sequence
from pathlib import Path

from curewatch.advice.judge.limits import Limits
from curewatch.advice.judge.weather import Paths, Weather, weather
from curewatch.advice.plan.windows import AHEAD, GoWindow, Strip
from curewatch.errors import UsageError, reason
from curewatch.model.air.outlook import band
from curewatch.record.chart import ChartFlag, ShadedSpan, stacked
from curewatch.record.shed_panels import HOLDS, Backdrop, ShedBands, panels
from curewatch.safe_text import safe_line
from curewatch.wording import Wording

SUFFIX = ".svg"


def draw(strips: Sequence[Strip], outlook: Paths, limits: Limits, path: Path, words: Wording) -> None:
    """Write the picture.

    Raises
    ------
    UsageError
        The name does not end in .svg, or the file cannot be written.
    """
    if path.suffix.lower() != SUFFIX:
        raise UsageError(f"--chart: found {str(path)!r}. Use a name that ends in {SUFFIX}")
    text = picture(strips, weather(outlook, float(outlook.time[0]), length=AHEAD), limits, words)
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as trouble:
        raise UsageError(
            f"--chart: found {path}, {reason(trouble)}. Use a file that can be written"
        ) from None


def picture(strips: Sequence[Strip], there: Weather, limits: Limits, words: Wording) -> str:
    """Temperatures, margin and humidity, one above the other, as one SVG document."""
    bands = ShedBands(
        there.time,
        air=band(there.air_temperature),
        surface=band(there.surface_temperature),
        dew_point=band(there.surface_temperature - there.margin),
        margin=band(there.margin),
        humidity=band(there.humidity),
    )
    stretches = [(one, *_stretch(one, window)) for one in strips for window in one.windows]
    behind = Backdrop(
        float(there.time[0]),
        float(there.time[-1]),
        words,
        [ShadedSpan(begin, end, HOLDS, "go") for _, begin, end in stretches],
        [ChartFlag(begin, f"go: {safe_line(one.resin, 24)}") for one, begin, _ in stretches],
    )
    return stacked(panels(bands, limits, behind, ", coming 48 hours"))


def _stretch(one: Strip, window: GoWindow) -> tuple[float, float]:
    return float(one.starts.start[window.first]), float(one.starts.start[window.last])
