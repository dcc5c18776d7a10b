"""Resin systems as lines: a list, one in full, all side by side. Pure."""

from itertools import groupby

from curewatch.answers.document import BandDocument, spoken
from curewatch.answers.resin_compare import ResinCompareDocument, ResinCompareResinDocument
from curewatch.answers.resin_list import ResinListDocument
from curewatch.answers.resin_show import ResinShowDocument, ResinShowValueDocument
from curewatch.cli.screens.lines import MORE, MOST, LineGroup, fitting, wrapped
from curewatch.safe_text import safe, safe_line
from curewatch.units import kelvin_from_celsius
from curewatch.wording import MINUS, Wording, duration

REMARKS = (
    "Again: the next layer may go on from then, and bonds before. "
    "Tg after three days, only where a maker's sheet states one. "
    "A thick layer warms itself and is sooner: `curewatch cure --thickness`. "
    "In a full cup any of them kicks far sooner. Generic data: replace them by your maker's sheets."
)


def listed(answer: ResinListDocument) -> list[str]:
    """One line a resin."""
    head = f"{'name':<20}{'kind':<13}title"
    rows = [
        f"{safe_line(each.name, 19):<20}{spoken(each.kind):<13}{safe_line(each.title, 46)}"
        for each in answer.resins
    ]
    return [head, *rows, "", "Generic archetypes until you give your maker's sheet: curewatch resin fit"]


def shown(resin: ResinShowDocument, words: Wording) -> list[str]:
    """One resin: what it does, then each number with unit, tag and source."""
    head = [
        f"{safe_line(resin.name)}: {safe_line(resin.title)} ({spoken(resin.kind)})",
        f"  {safe(resin.note)}",
        *([f"  from {safe_line(resin.parent)}, version {resin.version}"] if resin.parent else []),
        "",
        f"  {'as a film at':<14}{'open':>12}{'gels':>12}{'tack-free':>12}{'firm':>12}{'sand':>12}",
    ]
    films = [
        f"  {words.stated(film.temperature_c, 'degC'):<14}"
        + "".join(
            f"{_when(at):>12}"
            for at in (film.working_time_s, film.gel_s, film.tack_free_s, film.firm_s, film.ready_to_sand_s)
        )
        for film in resin.film
    ]
    films.append("  A thick layer warms itself and is sooner: curewatch cure --thickness")
    numbers = [""] * bool(resin.score) + [f"  {each.text}" for each in resin.score]
    if resin.spread_ratio > 1.0:
        numbers.append(f"  so its ranges are told {resin.spread_ratio:.2f} times as wide")
    for section, entries in groupby(resin.values, key=lambda each: each.key.partition(".")[0]):
        numbers += ["", f"[{section}]", *(line for each in entries for line in _number(each, words))]
    return [*head, *films, *numbers]


def compared(answer: ResinCompareDocument, words: Wording, *, why: bool = False) -> list[str]:
    """All resins side by side, the likely lot; what must not be laid last."""
    where = answer.conditions
    air, work = (words.stated(each, "degC") for each in (where.temperature_c, where.surface_temperature_c))
    damp = words.stated(where.humidity_percent, "percent")
    rows = sorted(answer.resins, key=lambda row: bool(row.do_not))
    shown = [LineGroup([_compared(row, words)], 2 if row.do_not else 1) for row in rows]
    head = [
        f"Air {air}, {damp}; work {work} ({where.source}); as a film",
        f"{'':<18}{'open':>8}{'gels':>8}{'again':>8}{'before':>9}{'sand':>8} {'blush':<9}{'Tg':>3} lowest",
    ]
    groups = [LineGroup(head, 0), *shown]
    last = (
        MORE
        if len(fitting(groups, MOST - 1)) == len(head) + len(rows)
        else "  More resins, and reasons: --why"
    )
    brief = fitting([*groups, LineGroup([last], 0)])
    return [*brief, "", *(_remarks(answer, words))] if why else brief


def _remarks(answer: ResinCompareDocument, words: Wording) -> list[str]:
    """Those that had no room, prices, how far lots lie apart, and faces."""
    rows = answer.resins
    prices = [
        f"  {safe_line(row.name, 24)}: {row.price_per_kilogram:.2f} {safe_line(row.currency or '', 8)} per kg"
        for row in rows
        if row.price_per_kilogram is not None
    ]
    asked = ["What you pay", *prices, ""] if prices else []
    every = [_compared(row, words) for row in rows] + [""] if len(rows) > MOST - 3 else []
    return [*every, *asked, *wrapped(" ".join([_reach(rows), REMARKS, *_faces(rows)]), "  ", "  ")]


def _compared(row: ResinCompareResinDocument, words: Wording) -> str:
    """One resin in a line."""
    name = f"{safe_line(row.name, 17):<18}"
    if row.do_not:
        return f"{name}{row.do_not}"
    times = (row.working_time_s, row.gel_s, row.laminate_from_s, row.laminate_before_s, row.ready_to_sand_s)
    cells = [f"{_short(at.likely):>{width}}" for at, width in zip(times, (8, 8, 8, 9, 8), strict=True)]
    if row.wax:
        cells[2:4] = [f"{'-':>8}", f"{'abrade':>9}"]
    blush = {"none": "none", "peel-ply": "peel ply", "wash-and-abrade": "wash"}[row.blush]
    transition, lowest = (
        "-" if each is None else words.stated(each, "degC").split(".")[0]
        for each in (row.glass_transition_c, row.lowest_temperature_c)
    )
    return f"{name}{''.join(cells)} {blush:<9}{transition:>3} {lowest:>3}"


def _reach(rows: list[ResinCompareResinDocument]) -> str:
    """How far lots lie apart, by the widest band of a gel time; what a fit left open is in it."""
    reach = [(apart, row.name) for row in rows if (apart := _apart(row.gel_s)) is not None]
    if not reach:
        return "Likely lot (--json has the bands)."
    widest, name = max(reach)
    return (
        f"Times can be up to {widest:.1f} times longer or shorter ({safe_line(name, 24)}, the least sure). "
        "--json has the bands."
    )


def _apart(band: BandDocument) -> float | None:
    """How many times as late, or as soon, as the likely lot; none where a slow lot does not come to it."""
    if not (band.early and band.likely and band.late):
        return None
    return max(band.late / band.likely, band.likely / band.early)


def _faces(rows: list[ResinCompareResinDocument]) -> list[str]:
    """What air and wax do to the face of the polyesters among them."""
    tacky = [each.name for each in rows if each.air_inhibited and not each.wax]
    waxed = [each.name for each in rows if each.wax]
    said = []
    if tacky:
        said.append(f"No wax, so the face stays tacky in air: {safe_line(', '.join(tacky), 160)}.")
    if waxed:
        said.append(f"Waxed, so abrade before the next layer: {safe_line(', '.join(waxed), 160)}.")
    return said


def _number(entry: ResinShowValueDocument, words: Wording) -> list[str]:
    leaf, value, unit = entry.key.partition(".")[2], entry.value, entry.unit
    if unit == "degC":
        value, unit = words.temperatures(kelvin_from_celsius(value)), words.temperature_unit
    elif unit == "K":
        value, unit = words.differences(value), words.difference_unit
    said = "" if unit == "1" else f" {unit}"
    source = safe(words.retold(entry.source))
    return [
        f"  {leaf:<20}{f'{value:.4g}'.replace('-', MINUS):>10}{said:<10} {spoken(entry.tag)}",
        *wrapped(source, "      ", "      "),
    ]


def _short(seconds: float | None) -> str:
    if seconds is None:
        return "-"
    return f"{seconds / 3600:.1f} h" if seconds >= 5400 else f"{seconds / 60:.0f} min"


def _when(seconds: float | None) -> str:
    return "-" if seconds is None else duration(seconds)
