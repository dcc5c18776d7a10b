"""Layers and what they lie on, written out from the documented equations apart from the product.

rho c(T) dT/dt = d/dx(k dT/dx) + rho dH' da/dt in resin and cloth, conduction alone in the substrate. Masses
and volumes of resin and cloth add, conductivity goes by the geometric mean; of the two only resin's heat
capacity rises, cp = cp25 (1 + b (T - 25 degC)). Faces lose heat to still air by a handbook's correlation of a
plate, and by radiation to surroundings as warm as the air.
"""

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
from scipy.integrate import solve_ivp

from curewatch.materials import Resin
from curewatch.materials.substrate import Substrate
from curewatch.model.film.film import History
from curewatch.units import FloatArray
from tests.published.cure_equations import COLD, law

GLASS, FIBRE = (2550.0, 800.0, 1.0), 0.45  # density, heat capacity, conductivity; share by mass
EMISSIVITY, STEFAN = 0.9, 5.670374419e-8  # of resin and timber (from memory), W/(m2 K4)
LENGTH = 0.5  # m, of the plate
LOWER = 12  # cells of the substrate

Loss = Callable[[float, float], float]  # temperatures of face and air -> W/m2


def rayleigh(warmer: float, middle: float, length: float) -> tuple[float, float]:
    """Rayleigh number of air at its film temperature, and what it conducts. [K, K, m] -> [1], [W/(m K)]

    Properties of dry air by Sutherland's law and a constant Prandtl number of 0.71 (from memory).
    """
    viscosity = 1.458e-6 * middle**1.5 / (middle + 110.4) / (101325.0 / (287.05 * middle))
    conductivity = 2.64638e-3 * middle**1.5 / (middle + 245.4 * 10.0 ** (-12.0 / middle))
    return 0.71 * 9.80665 * warmer * length**3 / (middle * viscosity**2), conductivity


def _plate(number: Callable[[float], float], length: float) -> Loss:
    def loss(face: float, air: float) -> float:
        warmer = abs(face - air)
        value, conductivity = rayleigh(warmer, 0.5 * (face + air), length)
        draught = number(value) * conductivity / length * (face - air)
        return draught + EMISSIVITY * STEFAN * (face**4 - air**4)

    return loss


def _upright(value: float) -> float:
    wall = (1.0 + (0.492 / 0.71) ** (9 / 16)) ** (8 / 27)
    return float((0.825 + 0.387 * value ** (1 / 6) / wall) ** 2)


def _face_up(value: float) -> float:
    return float(0.54 * value**0.25 if value < 1e7 else 0.15 * value ** (1 / 3))


# Churchill and Chu, Int. J. Heat Mass Transfer 18:1323 (1975), an upright plate; McAdams, Heat Transmission
# (1954), a level one of the width area over perimeter. The forms are from memory, as handbooks print them.
PLATES: dict[str, Loss] = {
    "upright": _plate(_upright, LENGTH),
    "face up": _plate(_face_up, LENGTH / 4),
    "face down": _plate(lambda value: float(0.27 * value**0.25), LENGTH / 4),
}


def constant_loss(face: float, air: float) -> float:
    """The law before: 10 W/(m2 K)."""
    return 10.0 * (face - air)


class Ply(NamedTuple):
    """One layer: its resin, thickness, when it is laid, and in how many cells. [m, s]"""

    resin: Resin
    thickness: float
    at: float = 0.0
    cells: int = 16


class Stuff(NamedTuple):
    """Resin and cloth together."""

    density: float
    capacity: float  # at 25 degC [J/(kg K)]
    rise: float  # of that, with temperature [1/K]
    conductivity: float
    heat: float  # of reaction [J/kg]


def stuff(resin: Resin, *, rising: bool = True) -> Stuff:
    t, share = resin.thermal, FIBRE
    volume = share / GLASS[0] + (1 - share) / t.density
    glass, resins = share / GLASS[0] / volume, (1 - share) * t.heat_capacity
    capacity = share * GLASS[1] + resins
    conductivity = GLASS[2] ** glass * t.conductivity ** (1 - glass)
    bend = resins * t.heat_capacity_rise / capacity if rising else 0.0
    return Stuff(1.0 / volume, capacity, bend, conductivity, (1 - share) * t.reaction_heat)


class Row(NamedTuple):
    """Cells of a substrate and of the plies laid so far."""

    width: FloatArray
    conductivity: FloatArray
    density: FloatArray
    capacity: FloatArray
    rise: FloatArray
    heat: FloatArray

    @classmethod
    def of(cls, plies: Sequence[Ply], below: Substrate, lower: int, *, rising: bool) -> "Row":
        parts = [(below.thickness / lower, below.conductivity, below.density, below.heat_capacity, 0.0, 0.0)]
        for ply in plies:
            made = stuff(ply.resin, rising=rising)
            wide = ply.thickness / ply.cells
            parts.append((wide, made.conductivity, made.density, made.capacity, made.rise, made.heat))
        counts = [lower] + [ply.cells for ply in plies]
        return cls(*(np.repeat([part[at] for part in parts], counts) for at in range(6)))


def face_of(inside: float, air: float, half: float, loss: Loss) -> float:
    """What leaves through half a cell and the air film in turn; the face's temperature by repetition."""
    warmer, given = inside - air, 0.0
    if warmer == 0.0:
        return 0.0
    for _ in range(60):
        before, given = given, (inside - air) / (1.0 / half + warmer / loss(air + warmer, air))
        warmer = inside - air - given / half
        if abs(given - before) < 1e-9 * abs(given):
            break
    return given


class Plate:
    """Plies on a substrate in an air, and how they are reckoned. ``felt`` is the air of the open face."""

    def __init__(
        self,
        plies: Sequence[Ply],
        below: Substrate,
        air: History,
        felt: History | None = None,
        *,
        loss: Loss = PLATES["face down"],
        rising: bool = True,
        lower: int = LOWER,
    ) -> None:
        self._plies, self._air, self._felt = plies, air, felt or air
        self._loss, self._lower = loss, lower
        self._row = Row.of(plies, below, lower, rising=rising)

    def _rate(self, now: float, state: FloatArray) -> FloatArray:
        """Cell by cell, progress beside temperature: so the solver's matrix is a narrow band."""
        done, warm = state[0::2], state[1::2]
        here = Row(*(each[: warm.size] for each in self._row))
        resistance, flow = here.width / here.conductivity, np.zeros(warm.size + 1)
        air, felt = (float(np.interp(now, *each)) for each in (self._air, self._felt))
        flow[1:-1] = 2.0 * (warm[:-1] - warm[1:]) / (resistance[1:] + resistance[:-1])
        flow[0] = -face_of(float(warm[0]), air, 2.0 / resistance[0], self._loss)
        flow[-1] = face_of(float(warm[-1]), felt, 2.0 / resistance[-1], self._loss)
        speed, begin = np.zeros(warm.size), self._lower
        for ply in self._plies:
            cells = slice(begin, begin + ply.cells)
            if begin < warm.size:
                speed[cells] = law(ply.resin, done[cells], warm[cells])
            begin += ply.cells
        made = here.heat * np.where(done >= 0.0, speed, 0.0)
        capacity = here.capacity * (1.0 + here.rise * (warm - COLD))
        changed = ((flow[:-1] - flow[1:]) / (here.width * here.density) + made) / capacity
        return np.ravel(np.column_stack((speed, changed)))

    def solved(self, levels: Sequence[float] = ()) -> tuple[list[float], float]:
        """When the slowest place of the last ply has come to rising conversions, and the peak till then.

        To the end of the air where none is asked for. LSODA at 1e-7. [s], [K]
        """
        last, begin = self._plies[-1], float(np.interp(0.0, *self._air))
        state, peak = np.tile([0.0, begin], self._lower), begin
        found: Any = None

        def passed(level: float, *, ends: bool) -> Callable[[float, FloatArray], float]:
            def event(_: float, state: FloatArray) -> float:
                return float(state[0::2][-last.cells :].min()) - level

            event.terminal = ends  # type: ignore[attr-defined]
            return event

        events = [passed(level, ends=level == levels[-1]) for level in levels]
        ends = [ply.at for ply in self._plies[1:]] + [float(self._air.time[-1])]
        for ply, end in zip(self._plies, ends, strict=True):
            fresh = np.tile([-ply.resin.kinetics.inhibitor, np.interp(ply.at, *self._air)], ply.cells)
            found = solve_ivp(
                self._rate, (ply.at, end), np.append(state, fresh), method="LSODA", rtol=1e-7, atol=1e-7,
                max_step=300.0, events=events if ply is last else None, uband=3, lband=3,
            )  # fmt: skip
            state = found.y[:, -1]
            peak = max(peak, float(found.y[2 * self._lower + 1 :: 2].max()))
        times = found.t_events if events else []
        return [float(each[0]) if each.size else np.nan for each in times], peak


def gel(plies: Sequence[Ply], below: Substrate, air: History, **how: Any) -> float:
    """When the slowest place of the last layer gels, from its own laying. [s]"""
    (time,), _ = Plate(plies, below, air, **how).solved([plies[-1].resin.milestones.gel])
    return time - plies[-1].at
