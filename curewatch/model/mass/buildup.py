"""What a layer is as heat sees it: its thickness and cloth, what it lies on, and what was laid before it."""

from typing import NamedTuple

import numpy as np

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.materials.substrate import Substrate
from curewatch.model.mass.laminate import FIBRE_MASS_FRACTION, MILD, LaminateLayer, Matter, matter
from curewatch.physics.heat_balance import Chain, in_series, transfer_to_air

SUBSTRATE_NODES = 4
NODE = 2e-3  # m of a layer that one temperature stands for
ONE_FILM = 0.8e-3  # m, a wetted layer of the usual cloth (common practice)
THINNEST, THICKEST = 1e-4, 0.05  # m
TRANSFER = transfer_to_air(MILD, 293.15)  # W/(m2 K), of the chain; a face that is warmer is mended by itself


class Buildup(NamedTuple):
    """A layer, told once for whatever asks about it.

    Attributes
    ----------
    thickness : float
        Of the layer, all its plies, wetted out. [m]
    substrate : Substrate or None
        What is below; None is a back that lets no heat through.
    fibre_mass_fraction : float
        Glass; 0 for plain resin. [1]
    insulated : bool
        Whether the substrate's back lets no heat through; else it is in the same air.
    before : tuple of LaminateLayer
        Layers that were laid on it earlier: times before the mixing of this one, or of the first of the
        starts that are asked about, below 0 [s]
    """

    thickness: float
    substrate: Substrate | None = None
    fibre_mass_fraction: float = FIBRE_MASS_FRACTION
    insulated: bool = False
    before: tuple[LaminateLayer, ...] = ()

    @property
    def plies(self) -> tuple[LaminateLayer, ...]:
        """All layers, the one asked about last."""
        return (*self.before, LaminateLayer(0.0, self.thickness))

    @property
    def thick(self) -> bool:
        """Whether all layers together are so thick that one may run away by its own heat."""
        return sum(ply.thickness for ply in self.plies) >= NODE

    def rises(self, resin: Resin) -> list[float]:
        """By how much the wetted cloth of each layer would warm if no heat left it. [K]"""
        return [self._matter(resin, ply).rise for ply in self.plies]

    def nodes(self) -> list[int]:
        """In how many temperatures each layer is followed, the lowest first."""
        return [max(1, round(ply.thickness / NODE)) for ply in self.plies]

    def bend(self, resin: Resin) -> float:
        """By how much the heat capacity of the layer asked about rises, of that at 25 degC. [1/K]"""
        return self._matter(resin, self.plies[-1]).bend

    def face(self, resin: Resin, laid: int) -> float:
        """Resistance from the uppermost node to the face, once so many layers are laid. [m2 K/W]"""
        ply, nodes = self.plies[laid - 1], self.nodes()[laid - 1]
        return 0.5 * ply.thickness / nodes / self._matter(resin, ply).conductivity

    def chain(self, resin: Resin, laid: int) -> Chain:
        """Nodes from the back to the face at 25 degC, once so many of the layers are laid."""
        self.require()
        below = self.substrate
        count = 0 if below is None else SUBSTRATE_NODES
        parts = list(zip(self.plies, self.nodes(), strict=True))[:laid]
        widths = [np.full(nodes, ply.thickness / nodes) for ply, nodes in parts]
        stuff = [self._matter(resin, ply) for ply, nodes in parts for _ in range(nodes)]
        conductivity = np.array([1.0] * count + [each.conductivity for each in stuff])
        capacity = np.array([1.0] * count + [each.density * each.heat_capacity for each in stuff])
        if below is not None:
            widths.insert(0, np.full(count, below.thickness / count))
            conductivity[:count], capacity[:count] = below.conductivity, below.density * below.heat_capacity
        width = np.concatenate(widths)
        half = 0.5 * width / conductivity
        open_back = below is not None and not self.insulated
        back = in_series(TRANSFER, 1.0 / float(half[0])) if open_back else 0.0
        face = in_series(TRANSFER, 1.0 / float(half[-1]))
        return Chain(width * capacity, 1.0 / (half[1:] + half[:-1]), np.array([back, face]))

    def _matter(self, resin: Resin, ply: LaminateLayer) -> Matter:
        fibre = self.fibre_mass_fraction if ply.fibre is None else ply.fibre
        return matter(resin if ply.lot is None else ply.lot.resin, fibre)

    def require(self) -> None:
        """Raise :class:`OutOfValidity` unless every layer has a thickness that a layer can have."""
        for ply in self.plies:
            if not THINNEST <= ply.thickness <= THICKEST:
                raise OutOfValidity(
                    "thickness of a layer in mm", 1e3 * ply.thickness, "0.1 to 50 mm", "a layer's own heat"
                )
