"""What a maker's sheet says of the mix: ratio by mass and by volume, densities, equivalent weights.

They say the same thing several times over, so that a slip of the pen shows: what disagrees is refused.
"""

from typing import Any

from curewatch.materials.chemistry import Chemistry
from curewatch.materials.resin import Mix
from curewatch.materials.sheet_table import SheetTable
from curewatch.materials.sourced_toml import Sheet
from curewatch.physics.gelation import hardener_per_hundred_resin

MIX_KEYS = (
    "hardener_per_100_by_mass",
    "hardener_per_100_by_volume",
    "resin_density_g_cm3",
    "hardener_density_g_cm3",
    "tolerance_percent",
    "amine_hydrogen_weight",
    "epoxy_equivalent_weight",
)
DENSITIES = {
    "resin density": ("resin_density_g_cm3", 1.15),
    "hardener density": ("hardener_density_g_cm3", 0.98),
}
RATIO_TOLERANCE = 0.06  # by which mass, volume and densities may disagree: they are rounded
STOICHIOMETRY_TOLERANCE = 0.20  # formulated hardeners are mixed off the ideal, but not by more (assumed)


def read_mix(file: Sheet, chemistry: Chemistry) -> tuple[Mix | None, tuple[str, ...]]:
    """The mix of a sheet, if it says one, and what had to be assumed of it.

    Raises
    ------
    ConfigurationError
        A ratio that is none, two that disagree, or one that the equivalent weights forbid.
    """
    table = file.data.get("mix")
    if table is None:
        return None, () if chemistry.dosed else ("the whole mix",)
    if chemistry.dosed:
        raise file.refuse("mix", "a section [mix]", f"none: a {chemistry.name} has a dose of peroxide")
    place = SheetTable(file, "mix", 0)
    place.require_known(table, MIX_KEYS)
    stated = {name: place.perhaps(table, key, 0.7, 2.5) for name, (key, _) in DENSITIES.items()}
    assumed = tuple(name for name, value in stated.items() if not value)
    resin, hardener = (stated[name] or usual for name, (_, usual) in DENSITIES.items())
    ratio = _ratio(table, place, hardener / resin, RATIO_TOLERANCE * (2.0 if assumed else 1.0))
    _require_stoichiometry(table, place, ratio)
    tolerance = place.perhaps(table, "tolerance_percent", 0.5, 20.0)
    return Mix(ratio / 100.0, resin * 1000.0, hardener * 1000.0, (tolerance or 5.0) / 100.0), assumed


def _ratio(table: dict[str, Any], place: SheetTable, density: float, gap: float) -> float:
    """Parts of hardener for a hundred of resin by mass; ``density`` is hardener over resin."""
    mass, volume = (
        place.perhaps(table, key, 2.0, 200.0)
        for key in ("hardener_per_100_by_mass", "hardener_per_100_by_volume")
    )
    from_volume = None if volume is None else volume * density
    ratio = from_volume if mass is None else mass
    if ratio is None:
        raise place.refuse("hardener_per_100_by_mass", "no ratio", "by mass, by volume, or both")
    if mass is not None and from_volume is not None and abs(from_volume / mass - 1.0) > gap:
        raise place.refuse(
            "hardener_per_100_by_volume",
            f"{volume:g} by volume, which with these densities is {from_volume:.1f} by mass, "
            f"beside {mass:g} by mass",
            "a mass and a volume ratio that agree: check both, and the densities",
        )
    return ratio


def _require_stoichiometry(table: dict[str, Any], place: SheetTable, per_hundred: float) -> None:
    amine = place.perhaps(table, "amine_hydrogen_weight", 15.0, 400.0)
    epoxy = place.perhaps(table, "epoxy_equivalent_weight", 100.0, 1000.0)
    if (amine is None) != (epoxy is None):
        raise place.refuse(
            "amine_hydrogen_weight",
            "one equivalent weight",
            "amine_hydrogen_weight and epoxy_equivalent_weight",
        )
    if amine is None or epoxy is None:
        return
    ideal = hardener_per_hundred_resin(amine, 1.0, epoxy)
    if abs(per_hundred / ideal - 1.0) > STOICHIOMETRY_TOLERANCE:
        raise place.refuse(
            "amine_hydrogen_weight",
            f"a ratio of {per_hundred:g} by mass, where the equivalent weights ask for {ideal:.1f}",
            f"within {100 * STOICHIOMETRY_TOLERANCE:.0f} %: check the ratio and both weights",
        )
