"""A resin system written as a file that :func:`curewatch.materials.load_system` reads back.

The file says ``based_on`` and only what differs from that parent, so that it stays short and its
line of descent stays visible.
"""

import json
from collections.abc import Iterable, Mapping
from typing import Any

from curewatch.materials.quantities import QUANTITIES
from curewatch.materials.resin import Covariance, Origin, Resin

PREFERRED = ("1/s", "kJ/mol", "degC", "h", "kJ/kg", "kJ/(kg K)", "g/cm3")  # as people read them
CONVERSIONS = ("kinetics.", "milestones.", "bond.")  # shares that are written as such, the others per cent
ORDER = ("kinetics", "network", "milestones", "thermal", "mix", "dose", "blush", "bond", "limits")


def unit_of(key: str) -> str:
    """The unit in which a dotted key is written."""
    units = QUANTITIES[key].units
    if "%" in units and "1" in units:
        return "1" if key.startswith(CONVERSIONS) else "%"
    return next((name for name in PREFERRED if name in units), next(iter(units)))


def written(key: str, value: float) -> float:
    """An SI value in the unit in which it is written. [SI] -> [unit of the key]"""
    scale = QUANTITIES[key].units[unit_of(key)]
    return float(f"{(value - scale.offset) / scale.factor:.10g}")


def written_spread(key: str, spread: float) -> float:
    """An SI standard deviation in the unit in which its value is written, two digits.

    [SI] -> [unit of the key]
    """
    return float(f"{spread / QUANTITIES[key].units[unit_of(key)].factor:.2g}")


def as_toml(resin: Resin, parent: str, keys: Iterable[str], heading: str) -> str:
    """The text of a file for a resin that differs from ``parent`` in these dotted keys."""
    lines = [
        *(f"# {line}" for line in heading.splitlines()),
        f"name = {_text(resin.name)}",
        f"title = {_text(resin.title)}",
        f"kind = {_text(resin.chemistry.name)}",
        f"based_on = {_text(parent)}",
        f"note = {_text(resin.note)}",
        f"version = {resin.version}",
    ]
    chosen = set(keys)
    for section in ORDER:
        inside = [key for key in QUANTITIES if key in chosen and key.startswith(f"{section}.")]
        if inside:
            lines += ["", f"[{section}]", *(_number(resin, key) for key in inside)]
    surface = resin.surface
    lines += [
        "",
        "[surface]",
        f"air_inhibited = {json.dumps(surface.air_inhibited)}",
        f"wax = {json.dumps(surface.wax)}",
        "",
        *_uncertainty(resin),
    ]
    return "\n".join(lines) + "\n"


def _number(resin: Resin, key: str) -> str:
    section, _, leaf = key.partition(".")
    value = getattr(getattr(resin, section), leaf)
    return f"{leaf} = {_entry(key, value, resin.origins)}"


def _entry(key: str, value: float, origins: Mapping[str, Origin]) -> str:
    origin = origins[key]
    spread = "" if origin.spread is None else f", spread = {origin.spread!r}"
    return (
        f"{{ value = {written(key, value)!r}, unit = {_text(unit_of(key))}, tag = {_text(origin.tag)}, "
        f"source = {_text(origin.source)}{spread} }}"
    )


def _uncertainty(resin: Resin) -> list[str]:
    found: Covariance = resin.covariance
    rows = ",\n".join("  [" + ", ".join(f"{value:.6g}" for value in row) + "]" for row in found.matrix)
    return [
        "[uncertainty]  # joint covariance: rates in natural logarithm, all else in SI",
        f"rate_sd = {_entry('uncertainty.rate_sd', resin.rate_sd, resin.origins)}",
        f"keys = [{', '.join(_text(key) for key in found.keys)}]",
        f"matrix = [\n{rows}\n]" if rows else "matrix = []",
    ]


def _text(value: Any) -> str:
    """A TOML basic string: JSON's, with the one control character that JSON leaves bare."""
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")
