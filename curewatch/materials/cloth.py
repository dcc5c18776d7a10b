"""Reinforcement cloth: what one layer takes up in resin, how thick it becomes, how long it takes.

Source
------
Mixture rule for two phases without voids: volumes add. Values in ``cloth.toml``, each with its origin.
"""

import re
import tomllib
from importlib.resources import files
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from curewatch.errors import ConfigurationError, UsageError
from curewatch.materials.chemistry import Chemistry
from curewatch.units import HOUR

_CALLED = {  # as people say it
    "stitched-biaxial": ("biaxial",),
    "woven-roving": ("woven roving",),
    "plain-weave": ("plain weave",),
    "chopped-strand-mat": ("chopped strand", "csm"),
    "unidirectional": ("uni-directional",),
    "carbon-plain": ("carbon",),
}


class Cloth(Struct, frozen=True):
    """One kind of reinforcement at one areal mass."""

    kind: str
    title: str
    areal_mass: float  # dry [kg/m²]
    fibre_mass_fraction: float  # of the cured layer, hand-laid [1]
    fibre_mass_fraction_spread: float
    fibre_density: float  # [kg/m³]
    wet_out: float  # one layer, polyester, one person [s/m²]
    origins: dict[str, str]  # quantity -> "tag: source"
    note: str = ""

    @property
    def resin_per_area(self) -> float:
        """Resin in one layer. [kg/m²]"""
        return self.areal_mass * (1 - self.fibre_mass_fraction) / self.fibre_mass_fraction

    def thickness(self, resin_density: float) -> float:
        """Of one cured layer without voids: fibre and resin volumes add. [m]"""
        return self.areal_mass / self.fibre_density + self.resin_per_area / resin_density

    def wet_out_time(self, chemistry: Chemistry) -> float:
        """One layer, one person, with a resin of this chemistry. [s/m²]"""
        return self.wet_out * chemistry.wet_out


def cloth_kinds() -> list[str]:
    """The kinds of cloth that are known."""
    return list(_table())


def load_cloth(kind: str, areal_mass: float | None = None) -> Cloth:
    """The cloth of this kind at this areal mass [kg/m²]; the usual one of its kind if none is given.

    Raises
    ------
    ConfigurationError
        No such kind.
    UsageError
        An areal mass no cloth has.
    """
    table = _table()
    if kind not in table:
        raise ConfigurationError(kind, ", ".join(table), key="cloth")
    cloth = _read(kind, table[kind])
    if areal_mass is None:
        return cloth
    if not 0.02 <= areal_mass <= 3.0:
        raise UsageError(f"cloth: found {areal_mass * 1000:g} g/m². Use 20 to 3000 g/m²")
    heavier = areal_mass / cloth.areal_mass
    return replace(cloth, areal_mass=areal_mass, wet_out=cloth.wet_out * heavier**0.5)


def cloth_from_words(words: str) -> Cloth | None:
    """The cloth that somebody means: ``biaxial 450 g/m2``; none where no kind or two kinds are named.

    Raises
    ------
    UsageError
        A mass that no cloth has.
    """
    said = words.lower()
    kinds = [kind for kind in _table() if any(part in said for part in (kind, *_CALLED.get(kind, ())))]
    mass = re.search(r"(\d+)\s*(?:g|gsm)", said)
    if len(kinds) != 1:
        return None
    return load_cloth(kinds[0], None if mass is None else float(mass[1]) / 1000)


def _read(kind: str, row: dict[str, Any]) -> Cloth:
    return Cloth(
        kind=kind,
        title=row["title"],
        areal_mass=row["areal_mass_g_m2"]["value"] / 1000,
        fibre_mass_fraction=row["fibre_mass_fraction"]["value"],
        fibre_mass_fraction_spread=row["fibre_mass_fraction"]["spread"],
        fibre_density=row["fibre_density"]["value"],
        wet_out=row["wet_out_h_per_m2"]["value"] * HOUR,
        origins={
            key: f"{value['tag']}: {value['source']}" for key, value in row.items() if isinstance(value, dict)
        },
        note=row.get("note", ""),
    )


def _table() -> dict[str, dict[str, Any]]:
    return tomllib.loads(files(__package__).joinpath("cloth.toml").read_text(encoding="utf-8"))
