"""Resin systems as lines and as plain values: a list, one in full, all side by side. Pure."""

import math
from dataclasses import fields, is_dataclass
from textwrap import wrap
from typing import Any

from curewatch.advice.judge.comparison import Row
from curewatch.cli.safe_text import safe, safe_line
from curewatch.materials.quantities import QUANTITIES
from curewatch.materials.resin import Resin
from curewatch.materials.resin_files import origin_of
from curewatch.model.film.ensemble import Interval
from curewatch.model.film.milestones import MARKS, Milestones
from curewatch.units import celsius_from_kelvin, kelvin_from_celsius
from curewatch.wording import Wording, duration

WIDTH = 80
SHOWN_UNIT = {  # the unit in which a person reads a quantity, where the file allows several
    "J/mol": "kJ/mol",
    "J/kg": "kJ/kg",
    "1/s": "1/h",
    "kg/m3": "g/cm3",
    "J/(kg K)": "kJ/(kg K)",
    "K": "degC",
    "s": "h",
    "s %": "min %",
    "1": "1",
}
REMARKS = (
    "Tg after three days, "
    "only where a maker's sheet states one. "
    "In a full cup any of them kicks far sooner: heat decides. Archetypes: replace by your maker's sheets."
)
SECTIONS = ("kinetics", "network", "milestones", "thermal", "mix", "dose", "blush", "bond", "limits", "price")


def listed(resins: list[Resin]) -> list[str]:
    """One line a system."""
    head = f"{'name':<20}{'kind':<13}title"
    rows = [
        f"{safe_line(each.name, 19):<20}{each.chemistry.name:<13}{safe_line(each.title, 46)}"
        for each in resins
    ]
    return [head, *rows, "", "Generic archetypes until you give your maker's sheet: curewatch resin fit"]


def shown(resin: Resin, behaviour: list[tuple[float, Milestones]], words: Wording) -> list[str]:
    """One system: what it does, then each number with unit, tag and source."""
    head = [
        f"{safe_line(resin.name)}: {safe_line(resin.title)} ({resin.chemistry.name})",
        f"  {safe(resin.note)}",
        *([f"  from {safe_line(resin.parent)}, version {resin.version}"] if resin.parent else []),
        "",
        f"  {'as a film at':<14}{'open':>12}{'gels':>12}{'tack-free':>12}{'firm':>12}{'sand':>12}",
    ]
    films = [
        f"  {words.temperature(kelvin):<14}"
        + "".join(
            f"{_when(at):>12}"
            for at in (marks.working_time, marks.gel, marks.tack_free, marks.firm, marks.ready_to_sand)
        )
        for kelvin, marks in behaviour
    ]
    numbers: list[str] = []
    for section in SECTIONS:
        entries = [entry for entry in values(resin) if entry["key"].startswith(f"{section}.")]
        if entries:
            numbers += ["", f"[{section}]", *(line for entry in entries for line in _number(entry, words))]
    rate = origin_of(resin, "uncertainty.rate_sd")
    numbers += [
        "",
        "[uncertainty]",
        *_number(_entry("uncertainty.rate_sd", resin.rate_sd, rate._asdict()), words),
    ]
    return [*head, *films, *numbers]


def values(resin: Resin) -> list[dict[str, Any]]:
    """Every number of a system: key, value in a reading unit, tag, source, spread."""
    found = []
    for section in SECTIONS:
        part = getattr(resin, section)
        if not is_dataclass(part):
            continue
        for each in fields(part):
            key, value = f"{section}.{each.name}", getattr(part, each.name)
            if key in QUANTITIES and value is not None:
                found.append(_entry(key, value, origin_of(resin, key)._asdict()))
    return found


def plain(resin: Resin, behaviour: list[tuple[float, Milestones]]) -> dict[str, Any]:
    """One system for ``--json``."""
    return {
        "name": resin.name,
        "title": resin.title,
        "kind": resin.chemistry.name,
        "note": resin.note,
        "parent": resin.parent,
        "version": resin.version,
        "air_inhibited": resin.surface.air_inhibited,
        "wax": resin.surface.wax,
        "rate_sd": resin.rate_sd,
        "values": values(resin),
        "film": [
            {
                "temperature_c": round(celsius_from_kelvin(kelvin), 2),
                **{f"{mark}_s": _number_or_none(getattr(marks, mark)) for mark in (*MARKS, "ready_to_sand")},
            }
            for kelvin, marks in behaviour
        ],
    }


def compared(rows: list[Row], words: Wording, where: str) -> list[str]:
    """All systems side by side, the likely lot; the widest row fits 80 columns."""
    head = (
        f"{where}, as a film",
        "",
        f"{'':<34}  laminate again",
        f"{'':<18}{'open':>8}{'gels':>8}{'from':>8}{'before':>9}{'sand':>8} {'blush':<9}{'Tg':>3} lowest",
    )
    body = []
    for row in rows:
        times = (row.working_time, row.gel, row.laminate_from, row.laminate_before, row.ready_to_sand)
        cells = [f"{_short(at.likely):>{width}}" for at, width in zip(times, (8, 8, 8, 9, 8), strict=True)]
        if row.resin.surface.wax:
            cells[2:4] = [f"{'-':>8}", f"{'abrade':>9}"]
        if row.do_not:
            body.append(f"{safe_line(row.resin.name, 17):<18}{row.do_not}")
            continue
        lowest = words.temperature(row.resin.limits.lowest_temperature).split(".")[0]
        transition = "-"
        if row.resin.network.stated is not None:
            transition = words.temperature(row.glass_transition).split(".")[0]
        body.append(
            f"{safe_line(row.resin.name, 17):<18}{''.join(cells)} {_blush(row):<9}{transition:>3} {lowest:>3}"
        )
    prices = [
        f"  {safe_line(row.resin.name, 24)}: {row.resin.price.per_kilogram:.2f} "
        f"{safe_line(row.resin.price.currency, 8)} per kg"
        for row in rows
        if row.resin.price is not None
    ]
    asked = ["What you pay", *prices, ""] if prices else []
    remarks = " ".join([_reach(rows), REMARKS, *_faces(rows)])
    return [*head, *body, "", *asked, *wrap(remarks, WIDTH - 2, initial_indent="  ", subsequent_indent="  ")]


def _reach(rows: list[Row]) -> str:
    """How far lots lie apart, by the widest band of a gel time; what a fit left open is in it."""
    reach = [
        (float(max(row.gel.late / row.gel.likely, row.gel.likely / row.gel.early)), row.resin.name)
        for row in rows
        if math.isfinite(row.gel.late)
    ]
    if not reach:
        return "Likely lot (--json has the bands)."
    widest, name = max(reach)
    return (
        f"Likely lot; nine of ten gel within {widest:.1f} times as late and as soon ({safe_line(name, 24)}, "
        "the least sure; --json has the bands)."
    )


def _faces(rows: list[Row]) -> list[str]:
    """What air and wax do to the face of the polyesters among them."""
    resins = [row.resin for row in rows]
    tacky = [each.name for each in resins if each.surface.air_inhibited and not each.surface.wax]
    waxed = [each.name for each in resins if each.surface.wax]
    said = []
    if tacky:
        said.append(f"No wax, so the face stays tacky in air: {safe_line(', '.join(tacky), 160)}.")
    if waxed:
        said.append(f"Waxed, so abrade before the next layer: {safe_line(', '.join(waxed), 160)}.")
    return said


def compared_plain(rows: list[Row], conditions: dict[str, Any]) -> dict[str, Any]:
    """The same for ``--json``, with bands."""
    return {
        "conditions": conditions,
        "band": "nine of ten lots between early and late, seconds from mixing",
        "resins": [
            {
                "name": row.resin.name,
                "kind": row.resin.chemistry.name,
                "do_not": row.do_not,
                **{
                    f"{name}_s": _band(getattr(row, name))
                    for name in (
                        *("working_time", "gel", "laminate_from", "laminate_before"),
                        *("firm", "ready_to_sand"),
                    )
                },
                "blush": row.blush,
                "glass_transition_c": None
                if row.resin.network.stated is None
                else round(celsius_from_kelvin(row.glass_transition), 2),
                "lowest_temperature_c": round(celsius_from_kelvin(row.resin.limits.lowest_temperature), 2),
                "air_inhibited": row.resin.surface.air_inhibited,
                "wax": row.resin.surface.wax,
                "price_per_kilogram": None if row.resin.price is None else row.resin.price.per_kilogram,
                "currency": None if row.resin.price is None else row.resin.price.currency,
            }
            for row in rows
        ],
    }


def _entry(key: str, value: float, origin: dict[str, Any]) -> dict[str, Any]:
    units = QUANTITIES[key].units
    wanted = [SHOWN_UNIT[name] for name in units if name in SHOWN_UNIT]
    unit = next((name for name in wanted if name in units), next(iter(units)))
    scale = units[unit]
    return {
        "key": key,
        "value": float(f"{(value - scale.offset) / scale.factor:.6g}"),
        "unit": unit,
        **origin,
    }


def _number(entry: dict[str, Any], words: Wording) -> list[str]:
    leaf, value, unit = entry["key"].partition(".")[2], entry["value"], entry["unit"]
    if unit == "degC":
        value, unit = words.temperatures(kelvin_from_celsius(value)), words.temperature_unit
    elif unit == "K":
        value, unit = words.differences(value), words.difference_unit
    said = "" if unit == "1" else f" {unit}"
    first = f"  {leaf:<20}{value:>10.4g}{said:<10} {entry['tag']}"
    return [
        first,
        *wrap(
            safe(words.retold(entry["source"])), WIDTH, initial_indent="      ", subsequent_indent="      "
        ),
    ]


def _blush(row: Row) -> str:
    return {"none": "none", "peel ply": "peel ply", "wash and abrade": "wash"}[row.blush]


def _short(seconds: Any) -> str:
    value = float(seconds)
    if not math.isfinite(value):
        return "-"
    return f"{value / 3600:.1f} h" if value >= 5400 else f"{value / 60:.0f} min"


def _when(seconds: float) -> str:
    return duration(seconds) if math.isfinite(seconds) else "-"


def _band(found: Interval) -> dict[str, float | None]:
    return {name: _number_or_none(float(value)) for name, value in found._asdict().items()}


def _number_or_none(value: float) -> float | None:
    return round(value, 1) if math.isfinite(value) else None
