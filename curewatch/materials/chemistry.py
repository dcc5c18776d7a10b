"""What follows from how a resin cures: one value a chemistry, which every other room asks.

A file of a resin names its chemistry (``kind = "epoxy"``). No other code compares that name.
A new chemistry is a value in this file and a generic resin in ``resins/``.
"""

from msgspec import Struct


class Chemistry(Struct, frozen=True):
    """How one family of resins is mixed, cures and hurts."""

    name: str  # as files of resins say it
    dosed: bool  # peroxide in per cent, which may vary; else a hardener in a fixed ratio
    amine: bool  # cured by an amine: it may blush
    styrene: bool  # gives off vapour of styrene
    wet_out: float  # time to wet out cloth over that of a polyester (common practice) [1]
    energy_spread: float  # of an activation energy, before a sheet is read (assumed) [J/mol]
    usual_cost: float  # of a repair over that with a polyester (common practice) [1]
    lives_under_water: bool  # holds there for years (common practice)
    archetype: str  # generic resin that fills what a maker's sheet leaves open

    @property
    def added(self) -> str:
        """What is mixed into the resin: ``hardener`` or ``peroxide``."""
        return "peroxide" if self.dosed else "hardener"

    @property
    def section(self) -> str:
        """The section of a resin's file that says how it is mixed: ``dose`` or ``mix``."""
        return "dose" if self.dosed else "mix"


EPOXY = Chemistry(
    "epoxy",
    dosed=False,
    amine=True,
    styrene=False,
    wet_out=2.0,
    energy_spread=3e3,
    usual_cost=4.0,
    lives_under_water=True,
    archetype="epoxy-slow",
)
POLYESTER = Chemistry(
    "polyester",
    dosed=True,
    amine=False,
    styrene=True,
    wet_out=1.0,
    energy_spread=5e3,
    usual_cost=1.0,
    lives_under_water=False,
    archetype="polyester-laminating",
)
VINYL_ESTER = Chemistry(
    "vinyl ester",
    dosed=True,
    amine=False,
    styrene=True,
    wet_out=1.0,
    energy_spread=5e3,
    usual_cost=2.0,
    lives_under_water=True,
    archetype="vinyl-ester",
)

CHEMISTRIES = {each.name: each for each in (EPOXY, POLYESTER, VINYL_ESTER)}
