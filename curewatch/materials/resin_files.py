"""Resin systems from files: the built-in archetypes, and the user's own folder.

A file of the user's may say ``based_on = "epoxy-slow"`` and then only what differs.
"""

import difflib
from functools import lru_cache
from pathlib import Path
from typing import Any

from curewatch.errors import UsageError
from curewatch.materials.chemistry import CHEMISTRIES
from curewatch.materials.quantities import QUANTITIES
from curewatch.materials.resin import (
    BlushNature,
    Bond,
    Covariance,
    Dose,
    Kinetics,
    Mix,
    Network,
    Origin,
    Price,
    Resin,
    ResinLimits,
    SurfaceNature,
    Thermal,
    Thresholds,
)
from curewatch.materials.sourced_toml import Sheet, read_sheet

SECTIONS: dict[str, Any] = {
    "kinetics": Kinetics,
    "network": Network,
    "milestones": Thresholds,
    "thermal": Thermal,
    "blush": BlushNature,
    "bond": Bond,
    "limits": ResinLimits,
}
TYPED = ".sheet"  # `setup` keeps what was typed as NAME.sheet.toml beside the resin NAME.toml
TOP = (
    "name",
    "title",
    "kind",
    "note",
    "based_on",
    "version",
    "surface",
    "mix",
    "dose",
    "price",
    "uncertainty",
)


def resin_names(folder: Path | str | None = None) -> list[str]:
    """Names that :func:`load_resin` knows: built-in first, then the user's folder, typed sheets left out."""
    built_in = sorted(path.stem for path in _built_in_folder().glob("*.toml"))
    found = Path(folder).glob("*.toml") if folder else ()
    own = sorted(path.stem for path in found if not path.stem.endswith(TYPED))
    return built_in + [name for name in own if name not in built_in]


def load_resin(name_or_path: str | Path, folder: Path | str | None = None) -> Resin:
    """A resin system by name (the user's folder wins over the built-in ones) or from a file.

    Raises
    ------
    UsageError
        No resin has this name; the message offers the nearest.
    ConfigurationError
        The file is wrong: names the line, the key, what was found and what is allowed.
    """
    path = _locate(name_or_path, folder)
    return _built_in(path) if path.parent == _built_in_folder() else parse_resin(read_sheet(path), folder)


@lru_cache(maxsize=32)
def _built_in(path: Path) -> Resin:
    """One of the program's own, which rests on no other file: read once in a process."""
    return parse_resin(read_sheet(path))


def parse_resin(sheet: Sheet, folder: Path | str | None = None, below: tuple[Path, ...] = ()) -> Resin:
    """Build a resin from a parsed sheet; see the module's head for ``based_on``.

    ``below`` are the files that are based on this one.

    Raises
    ------
    ConfigurationError
        With file, line, key, what was found and what to use.
    """
    sheet.require_known("", sheet.data, (*TOP, *SECTIONS))
    base = parent_of(sheet, folder, below) if "based_on" in sheet.data else None
    named = base is None or "kind" in sheet.data
    chemistry = CHEMISTRIES[sheet.words("kind", CHEMISTRIES)] if named or base is None else base.chemistry
    values: dict[str, Any] = {
        name: _section(sheet, name, shape, getattr(base, name, None)) for name, shape in SECTIONS.items()
    }
    wanted, other = chemistry.section, "mix" if chemistry.dosed else "dose"
    if other in sheet.data:
        raise sheet.refuse(other, f"a section [{other}] in a {chemistry.name}", f"[{wanted}]")
    values[wanted] = _section(sheet, wanted, Mix if wanted == "mix" else Dose, getattr(base, wanted, None))
    rate_sd, covariance = _uncertainty(sheet, base)
    resin = Resin(
        name=sheet.words("name"),
        title=sheet.words("title"),
        chemistry=chemistry,
        note=sheet.words("note"),
        rate_sd=rate_sd,
        covariance=covariance,
        surface=_surface(sheet, base),
        price=_price(sheet, base),
        parent=base.name if base else "",
        version=_version(sheet),
        origins={**(base.origins if base else {}), **sheet.origins},
        **values,
    )
    _require_order(sheet, resin)
    return resin


def parent_of(sheet: Sheet, folder: Path | str | None = None, below: tuple[Path, ...] = ()) -> Resin:
    """The resin that a file says it is based on.

    Raises
    ------
    ConfigurationError
        There is no such resin, or the files are based on each other in a circle; with file and line.
    """
    said = sheet.words("based_on")
    beside = sheet.path.parent / said
    try:
        path = _locate(beside if said.endswith(".toml") and beside.is_file() else said, folder)
    except UsageError as unknown:
        allowed = f"{', '.join(resin_names(folder))}, or a .toml file"
        raise sheet.refuse("based_on", f"{said!r}: {str(unknown).partition(' Known')[0]}", allowed) from None
    chain = (*below, sheet.path.resolve())
    if path.resolve() in chain:
        raise sheet.refuse("based_on", f"{said!r}, which is based on this file again", "another resin")
    return parse_resin(read_sheet(path), folder, chain)


def origin_of(resin: Resin, key: str) -> Origin:
    """Origin of a dotted key; a key nobody gave an origin says so."""
    return resin.origins.get(key, Origin("assumed", "default of the program"))


def _built_in_folder() -> Path:
    return Path(__file__).with_name("resins")


def _locate(name_or_path: str | Path, folder: Path | str | None) -> Path:
    text = str(name_or_path)
    if isinstance(name_or_path, Path) or text.endswith(".toml") or "/" in text:
        return Path(name_or_path)
    for place in (Path(folder) if folder else None, _built_in_folder()):
        if place is not None and (place / f"{text}.toml").is_file():
            return place / f"{text}.toml"
    names = resin_names(folder)
    near = difflib.get_close_matches(text, names, n=1)
    hint = f" Did you mean {near[0]}?" if near else ""
    raise UsageError(
        f"no resin system is called {text!r}.{hint} Known: {', '.join(names)}; or give a .toml file"
    )


def _section(sheet: Sheet, name: str, shape: Any, base: Any) -> Any:
    table = sheet.data.get(name, {})
    if not isinstance(table, dict):
        raise sheet.refuse(name, repr(table), f"a section [{name}]")
    keys = [key for key in QUANTITIES if key.startswith(f"{name}.")]
    sheet.require_known(name, table, [key.partition(".")[2] for key in keys])
    values = {}
    for key in keys:
        leaf = key.partition(".")[2]
        if leaf in table:
            values[leaf] = sheet.number(key, QUANTITIES[key])
        elif base is not None:
            values[leaf] = getattr(base, leaf)
        elif QUANTITIES[key].required:
            raise sheet.refuse(key, "nothing", 'a number: { value = …, unit = "…", tag = "…", source = "…" }')
    return shape(**values)


def _surface(sheet: Sheet, base: Resin | None) -> SurfaceNature:
    if "surface" not in sheet.data:
        return base.surface if base else SurfaceNature()
    sheet.require_known("surface", sheet.find("surface"), ("air_inhibited", "wax"))
    return SurfaceNature(sheet.switch("surface.air_inhibited"), sheet.switch("surface.wax"))


def _price(sheet: Sheet, base: Resin | None) -> Price | None:
    if "price" not in sheet.data:
        return base.price if base else None
    sheet.require_known("price", sheet.find("price"), ("per_kilogram", "currency"))
    amount = sheet.number("price.per_kilogram", QUANTITIES["price.per_kilogram"])
    return Price(amount, sheet.words("price.currency"))


def _version(sheet: Sheet) -> int:
    version = sheet.data.get("version", 1)
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise sheet.refuse("version", repr(version), "a whole number from 1 on")
    return version


def _uncertainty(sheet: Sheet, base: Resin | None) -> tuple[float, Covariance]:
    table = sheet.data.get("uncertainty")
    if table is None:
        if base is None:
            raise sheet.refuse("uncertainty.rate_sd", "nothing", "a number with its origin")
        return base.rate_sd, base.covariance
    sheet.require_known("uncertainty", table, ("rate_sd", "keys", "matrix"))
    given = "rate_sd" in table or base is None
    rate_sd = (
        sheet.number("uncertainty.rate_sd", QUANTITIES["uncertainty.rate_sd"])
        if given
        else getattr(base, "rate_sd", 0.0)
    )
    return rate_sd, _covariance(sheet, table)


def _covariance(sheet: Sheet, table: dict[str, Any]) -> Covariance:
    keys, matrix = table.get("keys", []), table.get("matrix", [])
    for key in keys:
        if key not in QUANTITIES:
            raise sheet.refuse("uncertainty.keys", repr(key), "dotted keys such as 'kinetics.k2'")
    square = isinstance(matrix, list) and all(
        isinstance(row, list) and len(row) == len(keys) for row in matrix
    )
    if not square or len(matrix) != len(keys):
        raise sheet.refuse("uncertainty.matrix", "another shape", f"{len(keys)} rows of {len(keys)} numbers")
    return Covariance(tuple(keys), tuple(tuple(float(value) for value in row) for row in matrix))


def _require_order(sheet: Sheet, resin: Resin) -> None:
    marks, bond, limits = resin.milestones, resin.bond, resin.limits
    if not bond.best_from <= bond.best_until <= bond.closes:
        raise sheet.refuse("bond.best_from", "best_from, best_until, closes out of order", "a rising order")
    if not limits.lowest_temperature < limits.highest_temperature:
        raise sheet.refuse("limits.lowest_temperature", "lowest at or above highest", "lowest below highest")
    if marks.tack_free < marks.gel:
        raise sheet.refuse("milestones.tack_free", "tack-free before gel", "a conversion not below gel")
    dose = resin.dose
    if dose and not (
        dose.peroxide_low <= dose.peroxide_normal <= dose.peroxide_high
        and dose.cobalt_low <= dose.cobalt_normal <= dose.cobalt_high
    ):
        raise sheet.refuse("dose.peroxide_low", "low, normal, high out of order", "a rising order")
