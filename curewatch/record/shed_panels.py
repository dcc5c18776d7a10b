"""A shed over time, drawn one way: what a record measured, and what may come (`windows --chart`).

Three panels: temperatures, margin, humidity. Each line stands in its band, each limit is a line with its
name, and stretches in which every limit holds are shaded. Lines differ by dash and label, so that all can be
read in grey.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import numpy as np

from curewatch.advice.judge.limits import Limits
from curewatch.record.chart import ChartFlag, ChartLine, Level, RecordChart, ShadedBand, ShadedSpan
from curewatch.units import FloatArray
from curewatch.wording import Wording

AIR, SKIN, DEW, OUTSIDE = "#1d4e89", "#b4530a", "#0f766e", "#8a94a3"
HOLDS, NOTHING = "#e3eee4", "#c9ced4"  # every limit holds; nothing is known: apart in grey, too

Band = tuple[FloatArray, FloatArray, FloatArray]  # low, middle, high; ``nan`` where nothing is known


class ShedBands(NamedTuple):
    """What is known of a shed over time: arrays (n,)."""

    time: FloatArray  # UTC [s]
    air: Band  # [K]
    surface: Band  # [K]
    dew_point: Band  # [K]
    margin: Band  # [K]
    humidity: Band  # of the air [1]
    outside: FloatArray | None = None  # [K]


class Backdrop(NamedTuple):
    """What stands behind all three panels."""

    start: float  # UTC [s]
    end: float
    reader: Wording
    spans: Sequence[ShadedSpan] = ()
    flags: Sequence[ChartFlag] = ()


class _Curve(NamedTuple):
    label: str
    band: Band  # as the reader reads it
    colour: str
    dash: str


def panels(shed: ShedBands, limits: Limits, behind: Backdrop, when: str = "") -> tuple[RecordChart, ...]:
    """Temperatures, margin and humidity; ``when`` goes to the title."""
    reader = behind.reader
    degrees, differences = reader.temperatures, reader.differences
    curves = [
        _Curve("air", _read(shed.air, degrees), AIR, ""),
        _Curve("surface", _read(shed.surface, degrees), SKIN, "6 2"),
        _Curve("dew point", _read(shed.dew_point, degrees), DEW, "2 2"),
    ]
    unit, apart = reader.temperature_unit, reader.difference_unit
    warm = _panel(shed, behind, curves, title=f"Air, surface and dew point{when}", unit=unit, height=260)
    if shed.outside is not None:
        outside = ChartLine("outside", shed.time, degrees(shed.outside), OUTSIDE, "1 2", 1.0)
        warm = warm._replace(lines=[outside, *warm.lines])
    coldest, warmest = degrees(limits.temperature_lowest.value), degrees(limits.temperature_highest.value)
    margin = [_Curve("margin", _read(shed.margin, differences), SKIN, "6 2")]
    damp = [_Curve("humidity", _read(shed.humidity, lambda share: 100.0 * share), AIR, "")]
    least, most = differences(limits.condensation_margin.value), 100 * limits.humidity_highest.value
    title = "Margin of the surface over the dew point"
    dry = _panel(shed, behind, margin, title=title, unit=apart, height=190)
    humid = _panel(shed, behind, damp, title="Relative humidity of the air", unit="%", height=190)
    return (
        warm._replace(levels=[_level(coldest, unit, "lowest"), _level(warmest, unit, "highest")]),
        dry._replace(levels=[_level(least, apart, "lowest")]),
        humid._replace(levels=[_level(most, "%", "highest")]),
    )


def _read(band: Band, read: Callable[[FloatArray], FloatArray]) -> Band:
    low, middle, high = map(read, band)
    return low, middle, high


def _panel(
    shed: ShedBands, behind: Backdrop, curves: Sequence[_Curve], *, title: str, unit: str, height: int
) -> RecordChart:
    return RecordChart(
        title=title,
        unit=unit,
        start=behind.start,
        end=behind.end,
        reader=behind.reader,
        lines=[ChartLine(each.label, shed.time, each.band[1], each.colour, each.dash) for each in curves],
        bands=[
            ShadedBand(shed.time[part], each.band[0][part], each.band[2][part], each.colour)
            for each in curves
            for part in runs(np.isfinite(each.band[1]))
        ],
        spans=behind.spans,
        flags=behind.flags,
        height=height,
    )


def runs(known: np.ndarray) -> Iterator[slice]:
    """Stretches of two or more."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], known, [False])).astype(np.int8)))
    for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if end - begin > 1:
            yield slice(begin, end)


def _level(value: float, unit: str, word: str) -> Level:
    return Level(value, f"{word} {value:.3g} {unit}")
