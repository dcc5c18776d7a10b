"""A film's cure as lines: the marks first, then the curves. Pure."""

import math
from collections.abc import Sequence
from textwrap import wrap

import numpy as np

from curewatch.answers.cure import CureCurveDocument, CureDocument
from curewatch.cli.safe_text import safe_line
from curewatch.cli.screens.finish import lines as finish_lines
from curewatch.units import HOUR, FloatArray, kelvin_from_celsius, percent_from_fraction
from curewatch.wording import Wording, dosed, duration

WORDS = {
    "working_time": "working time ends",
    "recoat_from": "recoat from",
    "gel": "gels",
    "tack_free": "tack-free",
    "firm": "firm",
    "ready_to_sand": "ready to sand",
}
WIDTH, ROWS, LEFT = 80, 10, 6


def lines(said: CureDocument, words: Wording, width: int = WIDTH) -> list[str]:
    """What a person reads of the film; the curves are drawn to fit the width."""
    dose = dosed(said.peroxide_percent, assumed=said.peroxide_assumed)
    head = f"  {'from mixing':<18}{'early':>14}{'likely':>14}{'late':>14}"
    marks = []
    for name, title in WORDS.items():
        found = getattr(said.milestones_s, name)
        cells = (f"{_when(at):>14}" for at in (found.early, found.likely, found.late))
        marks.append(f"  {title:<18}{''.join(cells)}")
    return [
        headline(said, words),
        *([f"  with {dose} by mass of resin"] if dose else []),
        "",
        head,
        *marks,
        f"  nine of ten lots fall between early and late; - is not within {duration(said.duration_s)}",
        *recoat(said),
        *stalled(said, words),
        *[f"  ! {doubt}" for doubt in said.doubts],
        "",
        *finish_lines(said.finish, words),
        "",
        *_conversion(said, width),
        "",
        *_transition(said, words, width),
        "",
        f"  {safe_line(said.note)}. Follow the maker's sheet.",
    ]


def headline(said: CureDocument, words: Wording) -> str:
    """The answer in a line."""
    low, high = min(said.temperature_c), max(said.temperature_c)
    span = words.stated(low, "degC")
    if high - low >= 0.05:
        span += f" to {words.stated(high, 'degC')}"
    gel = said.milestones_s.gel.likely
    first = "does not gel" if gel is None else f"gels after {duration(gel)}"
    return (
        f"{safe_line(said.resin, 24)}, {span}: {first}; after {duration(said.duration_s)} "
        f"{words.percent(said.conversion.likely[-1])} cured"
    )


def recoat(said: CureDocument) -> list[str]:
    """Between when a next layer bonds chemically, and why that ends."""
    found = said.recoat_window
    if found.cause == "wax":
        return paragraph(f"laminate again: {found.afterwards}")
    if found.opens_s is None:
        return ["  laminate again: not yet within this time"]
    until = "still open at the end"
    if found.closes_s is not None:
        until = f"before {duration(found.closes_s)} ({found.cause})"
    blush = "; blush may end it sooner" if found.blush_may_close_it else ""
    return paragraph(f"laminate again from {duration(found.opens_s)}, {until}{blush} ({found.remark})")


def paragraph(text: str) -> list[str]:
    """Words in lines that fit, indented."""
    return wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")


def stalled(said: CureDocument, words: Wording) -> list[str]:
    """What the film turned to, if it turned to glass."""
    stall = said.stall
    if stall is None:
        return ["  still curing at the end: not yet a glass"]
    share, transition = words.percent(stall.conversion), words.stated(stall.glass_transition_c, "degC")
    after = duration(stall.at_s)
    if stall.before == "full-cure":
        return paragraph(
            f"turned to glass after {after}: from there on it only creeps, to {share} and a glass transition "
            f"of {transition} by the end; only warmth takes it much further"
        )
    return paragraph(
        f"STALLED before {stall.before}: glass after {after} at {share}, glass transition {transition}. "
        "It may feel firm, and will soften again: it must be warmed to finish"
    )


def curve(
    title: str,
    time_s: Sequence[float],
    values: Sequence[FloatArray],
    limits: tuple[float, float],
    width: int = WIDTH,
) -> list[str]:
    """A band over time in characters: ``:`` between early and late edge, ``*`` the likely line."""
    columns = min(width, WIDTH) - LEFT - 2
    at = np.linspace(0.0, time_s[-1], columns)
    low, middle, high = (_row(np.interp(at, time_s, part), limits) for part in values)
    cells = [[" "] * columns for _ in range(ROWS)]
    for column in range(columns):
        for row in range(min(low[column], high[column]), max(low[column], high[column]) + 1):
            cells[ROWS - 1 - row][column] = ":"
        cells[ROWS - 1 - middle[column]][column] = "*"
    labels = [""] * ROWS
    labels[0], labels[-1] = f"{limits[1]:.0f}", f"{limits[0]:.0f}"
    plot = [
        f"{label:>{LEFT - 1}} |{''.join(cell)}".rstrip() for label, cell in zip(labels, cells, strict=True)
    ]
    return [f"  {title}", *plot, _axis(time_s[-1], columns)]


def _conversion(said: CureDocument, width: int) -> list[str]:
    percent = [percent_from_fraction(part) for part in _edges(said.conversion)]
    return curve("conversion, per cent", said.time_s, percent, (0.0, 100.0), width)


def _transition(said: CureDocument, words: Wording, width: int) -> list[str]:
    shown = [words.temperatures(kelvin_from_celsius(part)) for part in _edges(said.glass_transition_c)]
    top = 10.0 * math.ceil(max(float(np.max(shown[-1])), 10.0) / 10.0)
    bottom = 10.0 * math.floor(min(float(np.min(shown[0])), 0.0) / 10.0)
    title = f"glass transition, {words.temperature_unit}"
    return curve(title, said.time_s, shown, (bottom, top), width)


def _edges(found: CureCurveDocument) -> list[FloatArray]:
    return [np.asarray(part) for part in (found.early, found.likely, found.late)]


def _row(values: FloatArray, limits: tuple[float, float]) -> np.ndarray:
    share = (values - limits[0]) / (limits[1] - limits[0])
    return np.clip(np.round(share * (ROWS - 1)), 0, ROWS - 1).astype(int)


def _axis(duration_s: float, columns: int) -> str:
    hours = duration_s / HOUR
    every = next(
        (step for step in (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 96, 240, 720) if hours / step <= columns / 8),
        2400,
    )
    row = [" "] * (columns + 5)
    for tick in range(int(hours / every + 1e-9) + 1):
        label = f"{tick * every:g} h" if tick == 0 or hours / every <= 12 else f"{tick * every:g}"
        place = round(tick * every / hours * (columns - 1))
        if place + len(label) <= columns:
            row[place : place + len(label)] = label
    return " " * (LEFT + 1) + "".join(row).rstrip()


def _when(seconds: float | None) -> str:
    return "-" if seconds is None else duration(seconds)
