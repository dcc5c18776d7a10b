"""A film's cure as lines: the marks first, then the curves. Pure."""

import math
from collections.abc import Iterator, Sequence

import numpy as np

from curewatch.answers.cure import CureCurveDocument, CureDocument
from curewatch.answers.document import BandDocument
from curewatch.cli.screens.blush import line as blush_line
from curewatch.cli.screens.blush import lines as blush_lines
from curewatch.cli.screens.finish import lines as finish_lines
from curewatch.cli.screens.heat import laminate_line, laminate_lines, pot_line, pot_lines
from curewatch.cli.screens.lines import WIDTH, LineGroup, fitting, wrapped
from curewatch.safe_text import safe_line
from curewatch.units import HOUR, FloatArray, kelvin_from_celsius, percent_from_fraction
from curewatch.wording import Wording, dosed, duration, roughly

WORDS = {
    "working_time": "working time ends",
    "recoat_from": "recoat from",
    "gel": "gels",
    "tack_free": "tack-free",
    "firm": "firm",
    "ready_to_sand": "ready to sand",
}
ROWS, LEFT = 10, 6


def lines(said: CureDocument, words: Wording, width: int = WIDTH, *, why: bool = False) -> list[str]:
    """What becomes of the film in ten lines; with ``why`` the bands, what it stands, the curves."""
    return [*first(said, words), *(behind(said, words, width) if why else [])]


def first(said: CureDocument, words: Wording) -> list[str]:
    """The answer, what forbids it, the marks, and where the cold stops it."""
    against = wrapped(f"{said.do_not[:1].upper()}{said.do_not[1:]}.", "") if said.do_not else []
    groups = [LineGroup(against, 0), LineGroup(wrapped(headline(said, words), ""), 0)]
    groups += _besides(said, words)
    groups += [LineGroup([row], spare) for spare, row in _marks(said)]
    groups += [LineGroup(stalled(said, words), 1)]
    groups += [LineGroup(wrapped(f"! {doubt}"), 2) for doubt in said.doubts]
    return fitting([*groups, LineGroup(["  Follow the maker's sheet. Reasons: --why"], 1)])


def _besides(said: CureDocument, words: Wording) -> Iterator[LineGroup]:
    """What was asked besides, a caution before it."""
    if said.blush is not None:
        yield LineGroup(blush_line(said.blush), 3 if said.blush.outcome == "none" else 0)
    if said.pot is not None:
        yield LineGroup(pot_line(said.pot, words), 0)
    if said.laminate is not None:
        yield LineGroup(laminate_line(said.laminate, words), 0)


def _marks(said: CureDocument) -> Iterator[tuple[int, str]]:
    """A line a mark, and how soon it may be left out."""
    found = said.milestones_s
    ends = found.working_time.early
    told = (
        between(found.working_time, said.duration_s)
        if ends is None
        else f"before {roughly(ends, math.floor)}"
    )
    yield 2, _beside("working time ends", told)
    yield 1, _beside("laminate again", again(said))
    for spare, title, band in (
        (2, "gels", found.gel),
        (1, "tack-free", found.tack_free),
        (3, "firm", found.firm),
        (2, "ready to sand", found.ready_to_sand),
    ):
        yield spare, _beside(title, between(band, said.duration_s))


def _beside(title: str, text: str) -> str:
    return f"  {title:<20}{text}"


def again(said: CureDocument) -> str:
    """From when to when a next layer bonds chemically."""
    found = said.recoat_window
    if found.cause == "wax":
        return "no window: it is waxed, abrade before it"
    if found.opens_s is None:
        return f"not within {duration(said.duration_s)}"
    return f"wet on wet, or from {roughly(found.opens_s)}{_closing(found.closes_s)}"


def _closing(closes_s: float | None) -> str:
    return ", open at the end" if closes_s is None else f", before {roughly(closes_s, math.floor)}"


def between(band: BandDocument, whole_s: float) -> str:
    """``between 3 h 30 min and 7 h 15 min, likely 5 h 05 min``; the part of it that comes."""
    early, likely, late = (
        roughly(band.early, math.floor),
        roughly(band.likely),
        roughly(band.late, math.ceil),
    )
    if band.early is None:
        return f"not within {duration(whole_s)}"
    if band.late is None:
        return f"after {early}" + ("" if band.likely is None else f", likely {likely}")
    return f"after {likely}" if early == late else f"between {early} and {late}, likely {likely}"


def behind(said: CureDocument, words: Wording, width: int) -> list[str]:
    """Every mark with its band, the window's remark, what it stands, the curves, heat and blush."""
    head = f"  {'from mixing':<18}{'early':>14}{'likely':>14}{'late':>14}"
    marks = []
    for name, title in WORDS.items():
        found = getattr(said.milestones_s, name)
        cells = (f"{_when(at):>14}" for at in (found.early, found.likely, found.late))
        marks.append(f"  {title:<18}{''.join(cells)}")
    parts = [
        [head, *marks],
        [f"  8 in 10 lots lie between early and late; - is not within {duration(said.duration_s)}"],
        recoat(said),
        ["", *finish_lines(said.finish, words)],
        ["", *_conversion(said, width)],
        ["", *_transition(said, words, width)],
        [] if said.blush is None else ["", *blush_lines(said.blush)],
        [] if said.pot is None else ["", *pot_lines(said.pot, words)],
        [] if said.laminate is None else ["", *laminate_lines(said.laminate, words)],
        ["", *wrapped(f"{safe_line(said.note)}. Follow the maker's sheet.")],
    ]
    return ["", *(line for part in parts for line in part)]


def headline(said: CureDocument, words: Wording) -> str:
    """The answer in a line."""
    low, high = min(said.temperature_c), max(said.temperature_c)
    span = words.stated(low, "degC")
    if high - low >= 0.05:
        span += f" to {words.stated(high, 'degC')}"
    gel = said.milestones_s.gel.likely
    gels = "does not gel" if gel is None else f"gels after {roughly(gel)}"
    dose = dosed(said.peroxide_percent, assumed=said.peroxide_assumed)
    which = f"{safe_line(said.resin, 24)} with {dose}" if dose else safe_line(said.resin, 24)
    return (
        f"{which}, {span}: {gels}; after {duration(said.duration_s)} "
        f"{words.percent(said.conversion.likely[-1])} cured"
    )


def recoat(said: CureDocument) -> list[str]:
    """Between when a next layer bonds chemically, and why that ends."""
    found = said.recoat_window
    wet = "" if found.wet_on_wet_until_s is None else f" until {duration(found.wet_on_wet_until_s)}"
    said_first = wrapped(f"wet on wet: the next ply may go on at once{wet}; every ply adds heat")
    if found.cause == "wax":
        return [*said_first, *wrapped(f"laminate again: {found.afterwards}")]
    if found.opens_s is None:
        return [*said_first, "  laminate again: not yet within this time"]
    until = "still open at the end"
    if found.closes_s is not None:
        until = f"before {duration(found.closes_s)} ({found.cause})"
    blush = "; blush may end it sooner" if found.blush_may_close_it else ""
    later = f"laminate again from {duration(found.opens_s)}, {until}{blush} ({found.remark})"
    return [*said_first, *wrapped(later)]


def stalled(said: CureDocument, words: Wording) -> list[str]:
    """Where the cold stops it, and what that means."""
    stall = said.stall
    if stall is None:
        whole = round(100 * said.conversion.likely[-1]) >= 100
        return ["  Fully cured at the end." if whole else "  Still curing at the end."]
    softens, after = words.whole_degrees(stall.glass_transition_c), roughly(stall.at_s)
    if stall.before == "full-cure":
        return wrapped(f"After {after} the cold stops it. It softens at about {softens} until you warm it.")
    return wrapped(
        f"STALLED before {stall.before}: after {after} the cold stops it. "
        f"It may feel firm, and softens again at about {softens}. Warm it to finish."
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
