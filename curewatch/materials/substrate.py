"""What is laminated on: how slowly its surface follows the air. Values in ``substrates.toml``."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from msgspec import Struct

from curewatch.errors import ConfigurationError, UsageError

# Heat from still air to a surface, convection and radiation together: ISO 6946 table 7 gives a surface
# resistance of 0.13 m2K/W for horizontal heat flow indoors. [W/(m2 K)]
SURFACE_HEAT_TRANSFER = 1 / 0.13


class Substrate(Struct, frozen=True):
    """One material at one thickness."""

    name: str
    title: str
    thickness: float  # [m]
    density: float  # [kg/m3]
    heat_capacity: float  # [J/(kg K)]
    conductivity: float  # across the thickness [W/(m K)]
    origins: dict[str, str]  # quantity -> "tag: source"

    def __hash__(self) -> int:
        return hash((self.name, self.thickness, self.density, self.heat_capacity, self.conductivity))

    @property
    def time_constant(self) -> float:
        """How slowly the surface follows the air, one side in the air: tau = rho c L / h. [s]

        A lumped body. The surface of a thick poor conductor (Biot number above 0.3) moves
        sooner than this says, and a skin with air on both sides twice as fast: so the estimate is on
        the slow side, and whoever uses it widens its band by the lag itself.
        """
        return self.density * self.heat_capacity * self.thickness / SURFACE_HEAT_TRANSFER


def substrate_names() -> list[str]:
    """The substrates that are known."""
    return list(_table())


def load_substrate(name: str, thickness: float | None = None) -> Substrate:
    """The substrate of this name, ``thickness`` thick [m]; its usual thickness if none is given.

    Raises
    ------
    ConfigurationError
        No such substrate.
    UsageError
        A thickness outside 0.5 mm to 1 m.
    """
    table = _table()
    if name not in table:
        raise ConfigurationError(repr(name), ", ".join(table), key="substrate")
    row = table[name]
    metres = row["thickness_mm"]["value"] / 1000 if thickness is None else float(thickness)
    if not 0.5e-3 <= metres <= 1.0:
        raise UsageError(f"thickness of the substrate: found {metres * 1000:g} mm. Use 0.5 to 1000 mm")
    origins = {key: f"{value['tag']}: {value['source']}" for key, value in row.items() if key != "title"}
    if thickness is not None:
        origins["thickness_mm"] = "given: by the user"
    return Substrate(
        name=name,
        title=row["title"],
        thickness=metres,
        density=row["density"]["value"],
        heat_capacity=row["heat_capacity"]["value"],
        conductivity=row["conductivity"]["value"],
        origins=origins,
    )


@cache
def _table() -> dict[str, dict[str, Any]]:
    return tomllib.loads(Path(__file__).with_name("substrates.toml").read_text(encoding="utf-8"))
