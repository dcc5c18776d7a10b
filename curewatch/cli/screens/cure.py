"""A film's cure as lines and as plain values: the marks first, then the curves. Pure."""

import math
from textwrap import wrap
from typing import Any

import numpy as np

from curewatch.cli.safe_text import safe_line
from curewatch.cli.screens.finish import as_plain as finish_plain
from curewatch.cli.screens.finish import lines as finish_lines
from curewatch.model.film.ensemble import Interval
from curewatch.model.film.finish import finish
from curewatch.model.film.outcome import FilmOutcome
from curewatch.model.film.recoat_window import closes_earlier
from curewatch.units import FloatArray, celsius_from_kelvin
from curewatch.wording import Wording, duration

WORDS = {
    "working_time": "working time ends",
    "recoat_from": "recoat from",
    "gel": "gels",
    "tack_free": "tack-free",
    "firm": "firm",
    "ready_to_sand": "ready to sand",
}
POINTS = 289  # of the curves in --json
WIDTH, ROWS, LEFT = 80, 10, 6


def lines(said: FilmOutcome, words: Wording, width: int = WIDTH, dose: str = "") -> list[str]:
    """What a person reads; the curves are drawn to fit the width."""
    hours = float(said.film.time[-1])
    head = f"  {'from mixing':<18}{'early':>14}{'likely':>14}{'late':>14}"
    marks = [
        f"  {WORDS[name]:<18}" + "".join(f"{_when(float(at)):>14}" for at in found)
        for name, found in said.marks.items()
    ]
    return [
        headline(said, words),
        *([f"  with {dose} by mass of resin"] if dose else []),
        "",
        head,
        *marks,
        f"  nine of ten lots fall between early and late; - is not within {duration(hours)}",
        *bonded(said),
        *stalled(said, words),
        *[f"  ! {doubt}" for doubt in said.doubts],
        "",
        *finish_lines(finish(said.resin, said.film), words),
        "",
        *_conversion(said, width),
        "",
        *_transition(said, words, width),
        "",
        f"  {safe_line(said.resin.note)}. Follow the maker's sheet.",
    ]


def headline(said: FilmOutcome, words: Wording) -> str:
    """The answer in a line."""
    film, end = said.film, said.envelope
    low, high = float(film.temperature.min()), float(film.temperature.max())
    span = (
        words.temperature(low)
        if high - low < 0.05
        else f"{words.temperature(low)} to {words.temperature(high)}"
    )
    gel = said.marks["gel"].likely
    first = f"gels after {duration(float(gel))}" if math.isfinite(gel) else "does not gel"
    return (
        f"{safe_line(said.resin.name, 24)}, {span}: {first}; after {duration(float(film.time[-1]))} "
        f"{words.percent(float(end.conversion.likely[-1]))} cured"
    )


def bonded(said: FilmOutcome) -> list[str]:
    """Between when a next layer bonds chemically, and why that ends."""
    bond = said.bond
    opens, closes = float(bond.opens), float(bond.closes)
    if bond.cause == "wax":
        return paragraph(f"laminate again: {bond.afterwards}")
    if not math.isfinite(opens):
        return ["  laminate again: not yet within this time"]
    until = f"before {duration(closes)} ({bond.cause})" if math.isfinite(closes) else "still open at the end"
    blush = "; blush may end it sooner" if said.resin.blush.amine_factor else ""
    return paragraph(f"laminate again from {duration(opens)}, {until}{blush} ({closes_earlier()})")


def paragraph(text: str) -> list[str]:
    """Words in lines that fit, indented."""
    return wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")


def stalled(said: FilmOutcome, words: Wording) -> list[str]:
    """What the film turned to, if it turned to glass."""
    stall = said.stall
    if stall is None:
        return ["  still curing at the end: not yet a glass"]
    share, transition = words.percent(stall.conversion), words.temperature(stall.glass_transition)
    after = duration(stall.at)
    if stall.before == "full cure":
        return paragraph(
            f"turned to glass after {after}: from there on it only creeps, to {share} and a glass transition "
            f"of {transition} by the end; only warmth takes it much further"
        )
    return paragraph(
        f"STALLED before {stall.before}: glass after {after} at {share}, glass transition {transition}. "
        "It may feel firm, and will soften again: it must be warmed to finish"
    )


def curve(
    title: str, time: FloatArray, values: Interval, limits: tuple[float, float], width: int = WIDTH
) -> list[str]:
    """A band over time in characters: ``:`` between early and late, ``*`` the likely line."""
    columns = min(width, WIDTH) - LEFT - 2
    at = np.linspace(0.0, float(time[-1]), columns)
    low, middle, high = (_row(np.interp(at, time, part), limits) for part in values)
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
    return [f"  {title}", *plot, _axis(float(time[-1]), columns)]


def as_plain(said: FilmOutcome) -> dict[str, Any]:
    """The same for ``--json``: SI-near units in the names, ``null`` where a mark is not reached."""
    curves = said.envelope
    at = np.linspace(0.0, float(curves.time[-1]), POINTS)

    def points(values: FloatArray, decimals: int) -> list[float]:
        return [round(float(value), decimals) for value in np.interp(at, curves.time, values)]

    def three(values: Interval, decimals: int, offset: float = 0.0) -> dict[str, list[float]]:
        return {name: points(part - offset, decimals) for name, part in values._asdict().items()}

    stall = said.stall
    return {
        "resin": said.resin.name,
        "title": said.resin.title,
        "kind": said.resin.kind,
        "note": said.resin.note,
        "band": "nine of ten lots between early and late",
        "milestones_s": {name: _plain_band(found) for name, found in said.marks.items()},
        "recoat_window_s": {
            "opens": _number(said.bond.opens),
            "closes": _number(said.bond.closes),
            "cause": said.bond.cause,
        },
        "stall": None
        if stall is None
        else {
            "at_s": round(stall.at, 1),
            "conversion": round(stall.conversion, 4),
            "glass_transition_c": round(celsius_from_kelvin(stall.glass_transition), 2),
            "before": stall.before,
        },
        "final_conversion": round(float(said.film.conversion[-1]), 5),
        "final_glass_transition_c": round(float(celsius_from_kelvin(said.film.glass_transition[-1])), 2),
        "doubts": list(said.doubts),
        "finish": finish_plain(finish(said.resin, said.film)),
        "time_s": [round(float(value), 1) for value in at],
        "temperature_c": points(celsius_from_kelvin(curves.temperature), 3),
        "conversion": three(curves.conversion, 5),
        "glass_transition_c": three(curves.glass_transition, 2, 273.15),
    }


def _conversion(said: FilmOutcome, width: int) -> list[str]:
    share = _scaled(said.envelope.conversion, 100.0)
    return curve("conversion, per cent", said.envelope.time, share, (0.0, 100.0), width)


def _transition(said: FilmOutcome, words: Wording, width: int) -> list[str]:
    curves = said.envelope
    unit, scale, zero = ("°F", 1.8, 273.15 - 32.0 / 1.8) if words.fahrenheit else ("°C", 1.0, 273.15)
    shown = Interval(*((part - zero) * scale for part in curves.glass_transition))
    top = 10.0 * math.ceil(max(float(np.max(shown.late)), 10.0) / 10.0)
    bottom = 10.0 * math.floor(min(float(np.min(shown.early)), 0.0) / 10.0)
    return curve(f"glass transition, {unit}", curves.time, shown, (bottom, top), width)


def _plain_band(found: Interval) -> dict[str, float | None]:
    return {name: _number(value) for name, value in found._asdict().items()}


def _number(value: Any) -> float | None:
    return round(float(value), 1) if math.isfinite(value) else None


def _scaled(values: Interval, factor: float) -> Interval:
    return Interval(*(part * factor for part in values))


def _row(values: FloatArray, limits: tuple[float, float]) -> np.ndarray:
    share = (values - limits[0]) / (limits[1] - limits[0])
    return np.clip(np.round(share * (ROWS - 1)), 0, ROWS - 1).astype(int)


def _axis(duration_s: float, columns: int) -> str:
    hours = duration_s / 3600.0
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


def _when(seconds: float) -> str:
    return duration(float(seconds)) if math.isfinite(seconds) else "-"
