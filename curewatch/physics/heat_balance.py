"""Heat in a curing mass: how far it can rise, how it leaves, when one temperature is too few."""

import math
from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from curewatch.errors import OutOfValidity
from curewatch.units import FloatArray

STILL_AIR = 10.0  # W/(m2 K), natural convection and radiation of a warm body in a shed; 5..15 (from memory)
STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4), exact by the SI
EMISSIVITY = 0.9  # of plastic cups, of resin and of what it lies on (from memory)
CONVECTION = 1.3  # W/(m2 K) x (m/K)^(1/4), of a cup over its width; upright faces 1.42, up 1.32 (from memory)
# A level plate that is warm below, half a metre wide: 0.27 Ra^(1/4) over area by perimeter (McAdams, from
# memory). Nothing tells which way a face looks; this one loses least, so its layers gel soonest.
FACE_DOWN = 0.7 / 0.125**0.25  # W/(m2 K^(5/4))
STRAIGHT = 1e-9  # 1/K, a heat capacity that does not rise

Warmth = TypeVar("Warmth", float, FloatArray, NDArray[np.float32])
AnyArray = TypeVar("AnyArray", FloatArray, NDArray[np.float32])


def adiabatic_rise(reaction_heat: float, heat_capacity: float, conversion: float = 1.0) -> float:
    """Temperature rise when no heat leaves. [J/kg, J/(kg K), 1] -> [K]

    Source
    ------
    Energy balance without loss.
    """
    return reaction_heat * conversion / heat_capacity


def biot(transfer: float, length: float, conductivity: float) -> float:
    """Resistance inside over resistance outside; above about 0.1 one temperature is too few.

    Parameters
    ----------
    transfer : float
        Heat transfer coefficient at the surface. [W/(m2 K)]
    length : float
        Volume over cooled area. [m]
    conductivity : float
        Of the mass. [W/(m K)]

    Returns
    -------
    float
        [1]

    Source
    ------
    Definition. The usual limit for one lumped temperature is 0.1 (handbooks, from memory). A pot has shells
    at every mass.
    """
    return transfer * length / conductivity


def transfer_to_air(warmer: Warmth, air: Warmth, draught: float = FACE_DOWN) -> Warmth:
    """What a surface so much warmer than still air gives to it, for each kelvin. [K, K] -> [W/(m2 K)]

    Parameters
    ----------
    warmer : float or ndarray, shape (...)
        Surface above air. [K]
    air : float or ndarray, shape (...)
        Of air and of what the surface sees. [K]
    draught : float
        Natural convection at one kelvin. [W/(m2 K^(5/4))]

    Source
    ------
    draught |dT|^(1/4), the handbooks' form for laminar draught in air, and the law of Stefan and Boltzmann
    (both from memory). tests/published/test_pot_cylinder.py, test_laminate_integrated.py
    """
    surface = air + warmer
    radiation = EMISSIVITY * STEFAN_BOLTZMANN * (surface * surface + air * air) * (surface + air)
    found: Warmth = draught * abs(warmer) ** 0.25 + radiation
    return found


class RisingCapacity(NamedTuple):
    """Stored heat as a temperature: cp = cp(anchor) (1 + b (T - anchor)), s - anchor = dT (1 + b dT / 2).

    At the anchor a kelvin of the one is a kelvin of the other. [K], [1/K]
    """

    anchor: Any  # [K]
    inverse: Any  # 1/b [K]
    double: Any  # 2/b [K]
    square: Any  # 1/b^2 less twice the anchor over b [K2]
    least: Any  # where nothing more could be given off: the anchor less 1/b [K]

    @classmethod
    def of(cls, anchor: float, bend: float, kind: Callable[[float], Any] = np.asarray) -> "RisingCapacity":
        """About an anchor [K], by its rise [1/K]; each number a () array of double precision, or a ``kind``.

        numpy takes as long to make an array of a plain number as to multiply eight of them.

        Source
        ------
        ds = (1 + b (T - anchor)) dT, integrated.
        """
        inverse = 1.0 / max(bend, STRAIGHT)
        square, least = inverse * (inverse - 2.0 * anchor), kind(anchor) - kind(inverse)
        return cls(*(kind(each) for each in (anchor, inverse, 2.0 * inverse, square, least)))

    def stored(self, temperature: AnyArray) -> AnyArray:
        """What cells (...) of this temperature have stored: the integral of cp over cp(anchor). [K] -> [K]

        Source
        ------
        As :meth:`of`.
        """
        warmer = temperature - self.anchor
        found: AnyArray = temperature + 0.5 * warmer * warmer / self.inverse
        return found

    def temperature(self, stored: AnyArray) -> AnyArray:
        """The inverse, for cells (...). [K] -> [K]

        Source
        ------
        As :meth:`of`; the greater root.
        """
        found: AnyArray = np.sqrt(self.double * stored + self.square)
        found += self.least
        return found


def upright_cylinder(volume: float) -> tuple[float, float]:
    """Diameter and cooled area (all round) of a full cup as high as it is wide. [m3] -> [m, m2]

    Raises
    ------
    OutOfValidity
        The volume is not above 0.

    Source
    ------
    Geometry: pi d^3 / 4 and 3/2 pi d^2, where height and width are d.
    """
    if volume <= 0.0:
        raise OutOfValidity("volume in m3", volume, "above 0", "the shape of a cup")
    diameter = (4.0 * volume / math.pi) ** (1.0 / 3.0)
    return diameter, 1.5 * math.pi * diameter**2


class Chain(NamedTuple):
    """Cells in a row that hand heat to their neighbours, and at both ends to something outside.

    ``capacity`` (cells,) [J/K], ``link`` (cells - 1,) [W/K], ``ends`` (2,) [W/K]; per area or for
    the whole body, as long as all three agree.
    """

    capacity: FloatArray
    link: FloatArray
    ends: FloatArray


def shells(
    radius: float, cells: int, geometry: int, *, heat_capacity: float, conductivity: float, transfer: float
) -> Chain:
    """A body cut from its middle (first cell) to its cooled surface into shells of equal thickness.

    Parameters
    ----------
    radius : float
        Middle to surface. [m]
    cells : int
    geometry : int
        0 slab cooled on both faces, 1 long cylinder, 2 sphere.
    heat_capacity, conductivity, transfer : float
        Per volume [J/(m3 K)], [W/(m K)], to the air [W/(m2 K)]

    Source
    ------
    Fourier's law over finite volumes; the outer shell gives its heat through half its thickness and
    the air film in series. tests/unit/test_heat_balance.py
    """
    edge = np.linspace(0.0, radius, cells + 1)
    width = radius / cells
    link = conductivity * edge[1:-1] ** geometry / width
    surface = radius**geometry * in_series(transfer, conductivity / (0.5 * width))
    volume = np.diff(edge ** (geometry + 1)) / (geometry + 1)
    return Chain(volume * heat_capacity, link, np.array([0.0, surface]))


def in_series(*conductances: float) -> float:
    """Conductance of several in series; nothing passes if one of them is nought.

    Source
    ------
    Resistances add. In and out in one unit, [W/K] or [W/(m2 K)].
    """
    return 0.0 if min(conductances) <= 0.0 else 1.0 / sum(1.0 / each for each in conductances)


class Propagator(NamedTuple):
    """Exact conduction over one step: T(t + h) = spread T(t) + pushed T_outside.

    Every row of ``spread`` and ``pushed`` together sums to one: even warmth stays even. The heat that
    leaves through both ends meanwhile is ``drain`` T(t) + ``drain_outside`` T_outside.
    """

    spread: FloatArray  # (cells, cells)
    pushed: FloatArray  # (cells, 2)
    drain: FloatArray  # (cells,) [J/K], per area or body as the chain is
    drain_outside: FloatArray  # (2,)


class Response(NamedTuple):
    """What heat released evenly over one step does: all (cells, cells), of the unit of temperature.

    Temperatures that fade by themselves come to ``spread`` T; what a rise of each cell, released evenly
    over the step, has become at its end, and what T is in the mean of the step, are both ``mean``;
    such a rise is ``half`` of itself in the mean of the step.
    """

    spread: FloatArray
    mean: FloatArray
    half: FloatArray


class Conduction(NamedTuple):
    """Conduction along a chain, made ready for steps of any length: its modes, and how fast each fades."""

    value: FloatArray  # (cells,) [1/s]
    to: FloatArray  # modes -> temperatures (cells, cells)
    back: FloatArray  # temperatures -> modes (cells, cells)
    pushed: FloatArray  # temperatures outside -> modes (cells, 2) [1/s]
    out: FloatArray  # heat a mode gives to the outside (cells,) [W/K]
    ends: FloatArray  # (2,) [W/K]

    def over(self, step: float) -> Propagator:
        """Exact conduction over one step. [s] Source: matrix exponential of the linear chain."""
        grown = self.value * step
        once, twice = _integrals(grown)
        left = self.out * (once * step)
        return Propagator(
            (self.to * np.exp(grown)) @ self.back,
            (self.to * (once * step)) @ self.pushed,
            left @ self.back,
            (self.out * (twice * step**2)) @ self.pushed - self.ends * step,
        )

    def risen(self, step: float) -> FloatArray:
        """What outsides that rise by one over a step, along a line, leave at its end. (cells,) [s] -> [1]

        Source: matrix exponential of the linear chain.
        """
        _, twice = _integrals(self.value * step)
        return np.asarray((self.to * (twice * step)) @ self.pushed.sum(axis=1))

    def response(self, step: float) -> Response:
        """The same for heat that is released within, the outside left at 0. [s]

        Source: matrix exponential of the linear chain.
        """
        return Response(*((self.to * each) @ self.back for each in self.shares(step)))

    def shares(self, step: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """What each mode fades to in a step; what it is in the mean, as a rise over the step is at its end;
        and what such a rise is in the mean. [s] -> (cells,) each [1]

        Source: matrix exponential of the linear chain.
        """
        grown = self.value * step
        return np.exp(grown), *_integrals(grown)


def conduction(chain: Chain) -> Conduction:
    """Make a chain ready.

    Parameters
    ----------
    chain : Chain
        Of n cells: capacity (n,) [J/K], link (n - 1,) [W/K], ends (2,) [W/K].

    Returns
    -------
    Conduction
        Rates [1/s] and shapes of its n modes.

    Source
    ------
    Matrix exponential of the chain, and its integrals, through the eigenvectors of its symmetric form
    """
    root = np.sqrt(chain.capacity)
    matrix = np.zeros((root.size, root.size))
    index = np.arange(chain.link.size)
    matrix[index, index + 1] = matrix[index + 1, index] = chain.link
    source = np.zeros((root.size, 2))
    source[0, 0] += chain.ends[0]
    source[-1, 1] += chain.ends[1]
    matrix[np.diag_indices(root.size)] = -matrix.sum(axis=1) - source.sum(axis=1)
    value, vector = np.linalg.eigh(matrix / root[:, None] / root[None, :])
    to, back = vector / root[:, None], vector.T * root[None, :]
    return Conduction(
        value, to, back, back @ (source / chain.capacity[:, None]), source.sum(axis=1) @ to, chain.ends
    )


def _integrals(grown: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(e^x - 1)/x and (e^x - 1 - x)/x^2, by their series near 0."""
    near = np.abs(grown) < 1e-4
    x = np.where(near, 1.0, grown)
    more = np.expm1(x)
    once = np.where(near, 1.0 + grown / 2.0, more / x)
    twice = np.where(near, 0.5 + grown / 6.0, (more - x) / x**2)
    return once, twice
