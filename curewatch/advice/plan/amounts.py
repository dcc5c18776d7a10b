"""From the taper to the materials: layers, cloth, resin, hardener or peroxide.

Source
------
Resin in a layer from its fibre mass fraction (``materials.cloth``). A sealing coat on bare wood 150 g/m²,
on old laminate or foam 80 g/m², metal 50 g/m²; waste in cups, brushes and offcuts 15 %: common practice.
"""

import math

from msgspec import Struct

from curewatch.advice.plan.geometry import Outline, Patch, Taper, taper
from curewatch.advice.plan.mixing import Proportion
from curewatch.errors import UsageError
from curewatch.materials.cloth import Cloth

SEALING = {"plywood": 0.150, "timber": 0.150, "foam": 0.080, "old-laminate": 0.080}  # kg/m²
SEALING_ELSE = 0.050
WASTE = 0.15


class Repair(Struct, frozen=True):
    """What is to be built, as asked for. Lengths in m."""

    hole: Outline
    thickness: float
    cloth: Cloth
    substrate: str
    ratio: float = 12.0
    sides: int = 1
    overlap: float = 0.0
    waste: float = WASTE  # of cloth and of resin [1]
    room: tuple[float, ...] = ()  # for the taper, where it is short; the ratio is what fits


class Amounts(Struct, frozen=True):
    """What it takes. Masses in kg, areas in m², volumes in m³; waste is in everything but the layers."""

    taper: Taper
    layer_thickness: float
    layer_resin: tuple[float, ...]  # mixed resin each patch takes up, without waste
    sealing: float  # mixed resin of the sealing coat, without waste
    cloth_area: float
    cloth_mass: float
    mixed: float
    resin: float
    added: float  # hardener or peroxide
    resin_volume: float
    added_volume: float

    @property
    def layers(self) -> tuple[Patch, ...]:
        """From the deepest to the widest."""
        return self.taper.patches


def amounts(repair: Repair, proportion: Proportion, cured_density: float) -> Amounts:
    """Everything the repair takes.

    Parameters
    ----------
    proportion : Proportion
        How the resin is mixed.
    cured_density : float
        Of the cured resin; shrinkage is left out. [kg/m³]

    Raises
    ------
    UsageError
        A waste that is not a share, or a shape that cannot be built.
    """
    if not 0.0 <= repair.waste < 1.0:
        raise UsageError(f"waste: found {100 * repair.waste:g} %. Use 0 to under 100 %")
    cloth = repair.cloth
    layer_thickness = cloth.thickness(cured_density)
    made = taper(
        repair.hole,
        repair.thickness,
        layer_thickness,
        ratio=repair.ratio,
        sides=repair.sides,
        overlap=repair.overlap,
    )
    layer_resin = tuple(patch.area * cloth.resin_per_area for patch in made.patches)
    sealing = SEALING.get(repair.substrate, SEALING_ELSE) * made.ground_area
    more = 1.0 + repair.waste
    mixed = more * (math.fsum(layer_resin) + sealing)
    resin = mixed / (1.0 + proportion.usual)
    return Amounts(
        taper=made,
        layer_thickness=layer_thickness,
        layer_resin=layer_resin,
        sealing=sealing,
        cloth_area=more * made.cut_area,
        cloth_mass=more * made.cut_area * cloth.areal_mass,
        mixed=mixed,
        resin=resin,
        added=mixed - resin,
        resin_volume=resin / proportion.resin_density,
        added_volume=(mixed - resin) / proportion.added_density,
    )
