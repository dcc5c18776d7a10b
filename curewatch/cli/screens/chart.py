"""The last and the coming hours in characters: surface and dew point, their bands, the layers' windows.

Each cell has three heights, so a line is drawn at a third of a row. Surface and dew point differ by
their strokes, not by colour. Where both bands of the coming hours share a cell it is shaded darker:
there water could settle.
"""

import math
from typing import NamedTuple

import numpy as np

from curewatch.answers.chart import ChartDocument, ChartWindowDocument
from curewatch.clock import utc_from_iso
from curewatch.units import HOUR, FloatArray, celsius_from_kelvin, fahrenheit_from_kelvin, kelvin_from_celsius
from curewatch.wording import Wording

SURFACE, DEW_POINT, BOTH = ("▔", "─", "▁"), ("˙", "·", "."), "×"
BAND, BOTH_BANDS, NOW = "░", "▒", "┊"
HOURS = 12.0  # on each side of now
BAND_SHOWN = 2.5  # K of a band beyond the lines that is worth rows of the chart
LABEL = 5  # columns left of the plot, for degrees


class Curve(NamedTuple):
    """One quantity over time; past values have ``low == middle == high``; a gap is ``nan``. All (n,)."""

    time: FloatArray  # UTC [s]
    low: FloatArray  # [K]
    middle: FloatArray  # [K]
    high: FloatArray  # [K]


def chart_rows(chart: ChartDocument, now: float, words: Wording, width: int, height: int) -> list[str]:
    """Rows of text, ``height`` of them: the plot, one row a window (at most two), the hours, the legend."""
    columns = width - LABEL - 1
    begin, step = now - HOURS * HOUR, 2 * HOURS * HOUR / columns
    windows = chart.windows[: 2 if height >= 8 else 1]
    rows = max(3, height - len(windows) - 2)
    surface, dew_point = (_binned(curve, begin, step, columns) for curve in _curves(chart))
    bottom, top = _range(surface, dew_point, words)
    cells = [[" "] * columns for _ in range(rows)]
    for row in cells:
        row[columns // 2] = NOW
    _shade(cells, surface, dew_point, bottom, top)
    _draw(cells, dew_point.middle, bottom, top, DEW_POINT)
    _draw(cells, surface.middle, bottom, top, SURFACE)
    labels = _labels(rows, bottom, top)
    plot = [f"{label:>{LABEL}} {''.join(row)}" for label, row in zip(labels, cells, strict=True)]
    under = [_window_row(window, begin, step, columns) for window in windows]
    return [*plot, *under, _hours_row(begin, step, columns, words), _legend(width)]


def _curves(chart: ChartDocument) -> tuple[Curve, Curve]:
    time: FloatArray = np.array([utc_from_iso(each) for each in chart.time], dtype=np.float64)
    surface, dew_point = (
        Curve(time, *(_kelvins(edge) for edge in (curve.low_c, curve.middle_c, curve.high_c)))
        for curve in (chart.surface, chart.dew_point)
    )
    return surface, dew_point


def _kelvins(degrees: list[float | None]) -> FloatArray:
    """Degrees Celsius as kelvin; a gap is ``nan``."""
    return np.array(
        [math.nan if each is None else kelvin_from_celsius(each) for each in degrees], dtype=np.float64
    )


def _binned(curve: Curve, begin: float, step: float, columns: int) -> Curve:
    """The curve at the middle of each column: the nearest point within a column's width, else a gap."""
    at: FloatArray = begin + (np.arange(columns, dtype=np.float64) + 0.5) * step
    if curve.time.size == 0:
        gap: FloatArray = np.full(columns, math.nan)
        return Curve(at, gap, gap, gap)
    right = np.clip(np.searchsorted(curve.time, at), 0, curve.time.size - 1)
    left = np.clip(right - 1, 0, curve.time.size - 1)
    nearest = np.where(np.abs(curve.time[left] - at) <= np.abs(curve.time[right] - at), left, right)
    far = np.abs(curve.time[nearest] - at) > step
    low, middle, high = (np.where(far, math.nan, values[nearest]) for values in curve[1:])
    return Curve(at, low, middle, high)


def _degrees(kelvin: float, words: Wording) -> float:
    return fahrenheit_from_kelvin(kelvin) if words.fahrenheit else celsius_from_kelvin(kelvin)


def _range(surface: Curve, dew_point: Curve, words: Wording) -> "tuple[_Level, _Level]":
    """Whole degrees around both lines, at least four apart; bands may leave the picture, lines never."""
    lines, edges = (
        np.concatenate([values for curve in (surface, dew_point) for values in part(curve)])
        for part in (lambda curve: (curve.middle,), lambda curve: (curve.low, curve.high))
    )
    lines, edges = lines[np.isfinite(lines)], edges[np.isfinite(edges)]
    if lines.size == 0:
        lines = edges = np.array([273.15, 283.15])
    low = max(float(edges.min()), float(lines.min()) - BAND_SHOWN)
    high = min(float(edges.max()), float(lines.max()) + BAND_SHOWN)
    if high - low < 4.0:
        middle = (low + high) / 2
        low, high = middle - 2.0, middle + 2.0
    bottom, top = math.floor(_degrees(low, words)), math.ceil(_degrees(high, words))
    return _Level(_kelvin(bottom, words), bottom), _Level(_kelvin(top, words), top)


class _Level(NamedTuple):
    kelvin: float
    shown: int


def _kelvin(degrees: float, words: Wording) -> float:
    return (degrees - 32.0) / 1.8 + 273.15 if words.fahrenheit else degrees + 273.15


def _third(kelvin: float, rows: int, bottom: _Level, top: _Level) -> int | None:
    """How many thirds of a row from the top; ``None`` for a gap."""
    if not math.isfinite(kelvin):
        return None
    share = (top.kelvin - kelvin) / (top.kelvin - bottom.kelvin)
    return min(3 * rows - 1, max(0, int(share * 3 * rows)))


def _shade(cells: list[list[str]], surface: Curve, dew_point: Curve, bottom: _Level, top: _Level) -> None:
    for curve in (surface, dew_point):
        for column, (low, high) in enumerate(zip(curve.low, curve.high, strict=True)):
            under, over = (_third(value, len(cells), bottom, top) for value in (low, high))
            outside = high < bottom.kelvin or low > top.kelvin
            if under is None or over is None or high - low < 0.05 or outside:
                continue
            for row in range(over // 3, under // 3 + 1):
                shaded = cells[row][column] in {BAND, BOTH_BANDS} and curve is dew_point
                cells[row][column] = BOTH_BANDS if shaded else BAND


def _draw(
    cells: list[list[str]], values: FloatArray, bottom: _Level, top: _Level, strokes: tuple[str, ...]
) -> None:
    for column, value in enumerate(values):
        third = _third(float(value), len(cells), bottom, top)
        if third is not None:
            row, part = divmod(third, 3)
            taken = cells[row][column] in DEW_POINT
            cells[row][column] = BOTH if taken else strokes[part]


def _labels(rows: int, bottom: _Level, top: _Level) -> list[str]:
    labels = [""] * rows
    labels[0], labels[-1] = f"{top.shown:d}°", f"{bottom.shown:d}°"
    if rows >= 5 and (top.shown - bottom.shown) % 2 == 0:
        labels[rows // 2] = f"{(top.shown + bottom.shown) // 2:d}°"
    return labels


def _window_row(window: ChartWindowDocument, begin: float, step: float, columns: int) -> str:
    """``L1      ├─ again ─┤`` over the columns in which the window is open."""
    opens, closes = utc_from_iso(window.opens), utc_from_iso(window.closes)
    first, last = int((opens - begin) / step), int((closes - begin) / step)
    row = [" "] * columns
    if first < columns and last >= 0 and last >= first:
        left, right = max(0, first), min(columns - 1, last)
        row[left : right + 1] = "─" * (right - left + 1)
        if first >= 0:
            row[first] = "├"
        if last < columns:
            row[last] = "┤" if last > first else "│"
        middle, said = (left + right + 1) // 2, " again "
        if right - left > len(said) + 2:
            row[middle - len(said) // 2 : middle - len(said) // 2 + len(said)] = said
    return f"{window.layer[:LABEL]:>{LABEL}} {''.join(row)}"


def _hours_row(begin: float, step: float, columns: int, words: Wording) -> str:
    """Local hours under their columns, every three; midnight with its day; ``now`` where now is."""
    row = [" "] * (columns + 1)
    every = 3 if columns >= 60 else 6
    first = words.local(begin).replace(minute=0, second=0, microsecond=0).timestamp()
    for utc in (first + hour * HOUR for hour in range(int(columns * step / HOUR) + 2)):
        local = words.local(utc)
        column = round((utc - begin) / step)
        if local.hour % every or not 0 <= column <= columns - 5:
            continue
        said = words.hour(utc)
        if "".join(row[max(0, column - 1) : column + len(said) + 1]).strip() == "":
            row[column : column + len(said)] = said
    return " " * (LABEL + 1) + "".join(row)[:columns]


def _legend(width: int) -> str:
    narrow = width < 68
    parts = (
        f"{SURFACE[1] * 2} surface",
        f"{DEW_POINT[1] * 2} dew point",
        f"{BAND} range" if narrow else f"{BAND} likely range",
        f"{BOTH_BANDS} wet?" if narrow else f"{BOTH_BANDS} could be wet",
        f"{NOW} now",
    )
    return f"{'':>{LABEL}} {'  '.join(parts)}"[:width]
