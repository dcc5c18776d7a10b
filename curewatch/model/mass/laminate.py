"""A thick laminate: resin and cloth on a substrate, laid in layers over time, heating itself.

Theory of operation. The laminate and its substrate are a row of cells from the back of the
substrate to the open face. Only the laminate's cells react; each new layer joins the row at the
temperature of the air. Between two layers ``heated_row`` carries it.

Heat capacity of the resin rises with temperature, and both faces give their heat to still air by draught and
radiation. A row is linear about the temperature that it has: each step takes the chain of the nearest rung
of a ladder of temperatures and transfers.

Law kept: heat made = heat stored + heat given off, within 0.1 % (tests/unit/test_laminate.py).
"""

import itertools
import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.materials.substrate import Substrate
from curewatch.model.film.film import History, require_history
from curewatch.model.film.lots import Lot
from curewatch.model.mass.heated_row import TOLERANCE, Reaction, Regime, Slab, march, reaction
from curewatch.physics.constants import REFERENCE_TEMPERATURE
from curewatch.physics.heat_balance import (
    STRAIGHT,
    Chain,
    RisingCapacity,
    conduction,
    in_series,
    transfer_to_air,
)
from curewatch.units import FloatArray

CELLS = 20  # of the whole laminate
SUBSTRATE_CELLS = 6
TOLERANCE_JOINED = 4e-5  # of conversion a step, where a cold layer may land on one that runs away, or may not
MOST_LAYERS = 40
MOST = 12  # layers in one go that are looked at
FELT_EVERY, FELT_ROUNDS = 300.0, 8  # s
MILD = 3.0  # K between face and air, where one transfer stands for all
WARMER, FIRMER = 8.0, 1.08  # K, and times in transfer, from one rung of the ladder of chains to the next
LONG_AFTER, SETTLED = 1920.0, 0.5  # s, a step in steady air, once a row that was warmer is so near to it [K]
HOT = 343.15  # K, ASSUMED 70 degC (spread 10 K): foam cores and old laminate suffer, shrinkage shows
BOILING = 373.15  # K, water at sea level
GLASS_FIBRE = (2550.0, 800.0, 1.0)  # density, heat capacity, conductivity, from memory [SI]
FIBRE_MASS_FRACTION = 0.45  # common practice: hand layup of biaxial glass 0.45 to 0.50


class LaminateLayer(NamedTuple):
    """One layer of the plan."""

    at: float  # laid, from the start [s]
    thickness: float  # wetted out [m]
    lot: Lot | None = None  # of a resin and rate of its own; those of what is asked about if none
    fibre: float | None = None  # share of its mass that is fibre, as seen by a Buildup; the same if none [1]


class Matter(NamedTuple):
    """Resin and cloth together."""

    density: float  # [kg/m3]
    heat_capacity: float  # [J/(kg K)]
    conductivity: float  # [W/(m K)]
    rise: float  # adiabatic rise of full conversion [K]
    bend: float  # by which the heat capacity rises, of that at 25 degC [1/K]


class Laminate(NamedTuple):
    """What a laminate does. ``temperature`` and ``conversion`` are those of the last row of cells."""

    time: FloatArray  # (n,) [s]
    hottest: FloatArray  # (n,), hottest place of the laminate [K]
    slowest: FloatArray  # (n,), conversion where it is least, of the layers laid by then [1]
    quickest: FloatArray  # (n,), conversion where it is most [1]
    bond: FloatArray  # (n,), temperature against the substrate [K]
    peak_temperature: float  # [K]
    peak_time: float  # [s]
    gel: float  # the last layer has gelled throughout; nan if not [s]
    stored: float  # heat at the end, above the beginning [J/m2]
    made: float  # heat made [J/m2]
    given_off: float  # [J/m2]


class LayerCount(NamedTuple):
    """How many layers may go on in one go."""

    layers: int
    peak_temperature: float  # of that many [K]
    peak_of_one_more: float  # nan if no more were tried [K]


def matter(resin: Resin, fibre_mass_fraction: float = FIBRE_MASS_FRACTION) -> Matter:
    """Mixture of resin and glass: masses add, volumes add, conductivities in between (geometric mean).

    Raises
    ------
    OutOfValidity
        The mass fraction of fibre is not within 0 and 0.8. [1]
    """
    if not 0.0 <= fibre_mass_fraction <= 0.8:
        raise OutOfValidity("fibre mass fraction", fibre_mass_fraction, "0..0.8", "a laminate")
    thermal, (density, capacity, conductivity) = resin.thermal, GLASS_FIBRE
    fibre, resin_share = fibre_mass_fraction, 1.0 - fibre_mass_fraction
    together = 1.0 / (fibre / density + resin_share / thermal.density)
    share = fibre * together / density
    resins = resin_share * thermal.heat_capacity
    heat_capacity = fibre * capacity + resins
    return Matter(
        together,
        heat_capacity,
        float(conductivity**share * thermal.conductivity ** (1.0 - share)),
        resin_share * thermal.reaction_heat / heat_capacity,
        thermal.heat_capacity_rise * resins / heat_capacity,
    )


def laminate(
    resin: Resin,
    layers: Sequence[LaminateLayer],
    air: History,
    substrate: Substrate | None = None,
    *,
    fibre_mass_fraction: float = FIBRE_MASS_FRACTION,
    rate_factor: float = 1.0,
    peroxide_percent: float | None = None,
    cells: int = CELLS,
    insulated: bool = False,
    face: History | None = None,
) -> Laminate:
    """Temperature and cure through the thickness.

    Parameters
    ----------
    resin : Resin
    layers : sequence of Layer
        In the order in which they are laid; the first at 0. [s, m]
    air : History
        One path; the laminate is followed to its end. [s, K]
    substrate : Substrate, optional
        Its back is in the same air; without one the back of the laminate is insulated.
    fibre_mass_fraction : float
        Glass; 0 for plain resin. [1]
    rate_factor, peroxide_percent
        As for a film.
    cells : int
        Of the whole laminate, shared out by thickness, at least one a layer.
    insulated : bool
        Whether the substrate's back lets no heat through.
    face : History, optional
        Air that the open face feels, where it is not that of the shed: warmer in the sun. [s, K]

    Raises
    ------
    OutOfValidity
        No layer, too many, out of order, or of a thickness that is none.

    Source
    ------
    Fourier's law with the kinetics of the film, :func:`curewatch.physics.heat_balance.transfer_to_air` and a
    heat capacity that rises; solve_ivp with the plate's own correlations in
    tests/published/test_laminate_integrated.py
    """
    require_history(air)
    _require_layers(layers, float(air.time[-1]))
    stuff = matter(resin, fibre_mass_fraction)
    factor = rate_factor * resin.dose_factor(peroxide_percent)
    law = reaction(resin, factor, stuff.rise, TOLERANCE if len(layers) == 1 else TOLERANCE_JOINED)
    counts = _shared(layers, cells)
    around = _Around.of(air, face)
    row = _Row.of(substrate, air)
    parts: list[_Part] = []
    ends = [layer.at for layer in layers[1:]] + [float(air.time[-1])]
    for layer, count, end in zip(layers, counts, ends, strict=True):
        row = row.topped(layer, count, stuff, resin, float(np.interp(layer.at, air.time, air.temperature)))
        if end - layer.at < 1.0:
            continue
        course = _Course(row, law, around, insulated=insulated or substrate is None)
        slab = march(course, (row.progress, row.temperature), around.at, (layer.at, end))
        parts.append(_Part(slab, row.width * row.capacity))
        row = row._replace(progress=slab.progress[-1], temperature=slab.temperature[-1])
    return _told(resin, parts, stuff, row)


def layers_in_one_go(
    resin: Resin,
    thickness: float,
    air: History,
    substrate: Substrate | None = None,
    *,
    hottest: float = HOT,
    most: int = MOST,
    fibre_mass_fraction: float = FIBRE_MASS_FRACTION,
    peroxide_percent: float | None = None,
    insulated: bool = False,
) -> LayerCount:
    """How many layers of this thickness may go on at once before the laminate gets hotter than ``hottest``.

    Zero means that a single one already does. Nothing that is warm lies below. [m, K]

    Raises
    ------
    OutOfValidity
        The most layers asked about is outside what is reckoned.
    """
    if not 1 <= most <= MOST_LAYERS:
        raise OutOfValidity("most layers", most, f"1..{MOST_LAYERS}", "a laminate")

    def peak(count: int) -> float:
        return laminate(
            resin,
            [LaminateLayer(0.0, count * thickness)],
            air,
            substrate,
            fibre_mass_fraction=fibre_mass_fraction,
            peroxide_percent=peroxide_percent,
            insulated=insulated,
        ).peak_temperature

    return most_at_once(peak, hottest=hottest, most=most)


def most_at_once(peak: Callable[[int], float], *, hottest: float = HOT, most: int = MOST) -> LayerCount:
    """The most layers whose ``peak`` stays below ``hottest``; more are never cooler. [K]"""
    known: dict[int, float] = {}
    low, high = 0, most + 1
    while high - low > 1:
        middle = (low + high) // 2
        known[middle] = peak(middle)
        low, high = (middle, high) if known[middle] <= hottest else (low, middle)
    return LayerCount(low, known.get(low, math.nan), known.get(low + 1, math.nan))


class _Part(NamedTuple):
    """Between two layers."""

    slab: Slab
    capacity: FloatArray  # of its cells at 25 degC [J/(m2 K)]


class _Row(NamedTuple):
    """Cells from the back to the open face; the substrate's come first and do not react."""

    width: FloatArray  # [m]
    capacity: FloatArray  # [J/(m3 K)]
    conductivity: FloatArray  # [W/(m K)]
    temperature: FloatArray  # [K]
    progress: FloatArray  # of the laminate's cells [1]
    bend: float = 0.0  # of their heat capacity [1/K]

    @classmethod
    def of(cls, substrate: Substrate | None, air: History) -> "_Row":
        if substrate is None:
            nothing: FloatArray = np.empty(0)
            return cls(nothing, nothing, nothing, nothing, nothing)
        cell = np.ones(SUBSTRATE_CELLS)
        return cls(
            cell * substrate.thickness / SUBSTRATE_CELLS,
            cell * substrate.density * substrate.heat_capacity,
            cell * substrate.conductivity,
            cell * float(air.temperature[0]),
            np.empty(0),
        )

    def topped(self, layer: LaminateLayer, count: int, stuff: Matter, resin: Resin, warmth: float) -> "_Row":
        cell = np.ones(count)
        return _Row(
            np.append(self.width, cell * layer.thickness / count),
            np.append(self.capacity, cell * stuff.density * stuff.heat_capacity),
            np.append(self.conductivity, cell * stuff.conductivity),
            np.append(self.temperature, cell * warmth),
            np.append(self.progress, cell * -resin.kinetics.inhibitor),
            stuff.bend,
        )

    @property
    def half(self) -> FloatArray:
        """Resistance of half a cell. [m2 K/W]"""
        return np.asarray(0.5 * self.width / self.conductivity)

    def chain(self, back: float, front: float) -> Chain:
        """Cells as they are at 25 degC, with these transfers to the air. [W/(m2 K)]"""
        half = self.half
        ends = [in_series(transfer, 1.0 / float(half[at])) for transfer, at in ((back, 0), (front, -1))]
        return Chain(self.width * self.capacity, 1.0 / (half[1:] + half[:-1]), np.array(ends))


class _Course:
    """The chain and the reaction of the rung that is nearest to how warm a row is."""

    def __init__(self, row: _Row, law: Reaction, around: "_Around", *, insulated: bool) -> None:
        self._row, self._law, self._around, self._insulated = row, law, around, insulated
        self._warmed = False
        self._own = slice(row.width.size - row.progress.size, None)
        self._passes = [1.0 / float(row.half[at]) for at in (0, -1)]
        self._known: dict[tuple[int, int, int, bool], Regime] = {}

    def __call__(self, temperature: FloatArray, outside: FloatArray) -> Regime:
        own = temperature[self._own]
        level = round((float(own.sum()) / own.size - self._around.first) / WARMER)
        back, front = (self._rung(temperature.item(at), outside.item(at), at) for at in (0, -1))
        near = not self._around.steady or bool(np.abs(temperature - outside[1]).max() < SETTLED)
        self._warmed |= not near
        key = (level, self._insulated or back, front, near and self._warmed)
        if key not in self._known:
            self._known[key] = self._regime(*key)
        return self._known[key]

    def _rung(self, inside: float, air: float, at: int) -> int:
        warmer, passes = inside - air, self._passes[at]
        for _ in range(2):  # the face is a little cooler than its cell
            transfer = transfer_to_air(warmer, air)
            warmer = (inside - air) * passes / (passes + transfer)
        return round(math.log(transfer) / math.log(FIRMER))

    def _regime(self, level: int, back: int, front: int, settled: bool) -> Regime:
        anchor, bend = self._around.first + WARMER * level, self._row.bend
        warming = 1.0 + bend * (anchor - REFERENCE_TEMPERATURE)
        chain = self._row.chain(0.0 if self._insulated else FIRMER**back, FIRMER**front)
        chain.capacity[self._own] *= warming
        capacity = RisingCapacity.of(anchor, bend / warming) if bend > STRAIGHT else None
        longest = LONG_AFTER if settled else self._law.longest
        law = self._law._replace(rise=self._law.rise / warming, capacity=capacity, longest=longest)
        return Regime(law, chain, self._row.progress.size)


def felt(surface: History, substrate: Substrate, *, insulated: bool = False) -> History:
    """Air that the bare face must have felt, for its temperature to be what it was. [s, K]

    The back is taken to be in air as warm as the face. A layer on it then feels the same air.
    """
    if float(np.ptp(surface.temperature)) == 0.0:
        return surface
    row = _Row.of(substrate, surface)
    mild = transfer_to_air(MILD, float(surface.temperature.mean()))
    chain = row.chain(0.0 if insulated else mild, math.inf)
    inward = float(chain.ends[1])
    count = math.ceil(float(surface.time[-1]) / FELT_EVERY) + 1
    time = np.linspace(0.0, float(surface.time[-1]), count)
    skin = np.interp(time, surface.time, surface.temperature)
    modes, step = conduction(chain), float(time[1])
    fades, lasting, risen = modes.over(step).spread, modes.over(step).pushed.sum(axis=1), modes.risen(step)
    rise, within, given = skin - skin[0], np.zeros(row.width.size), [0.0]
    for before, after in itertools.pairwise(rise.tolist()):  # straight lines, or a metal would not be met
        within = fades @ within + before * lasting + (after - before) * risen
        given.append(inward * (after - within.item(-1)))
    taken = np.array(given)
    warmer: FloatArray = taken / mild
    for _ in range(FELT_ROUNDS):  # as far above the face as brings it what it takes in
        warmer = 0.5 * (warmer + taken / transfer_to_air(warmer, skin))
    return History(time, skin + warmer)


class _Around(NamedTuple):
    """Air at both ends of a row."""

    at: Callable[[float], FloatArray]  # time -> (2,), of the back and of the face [s -> K]
    first: float  # at the beginning [K]
    steady: bool  # one temperature from beginning to end

    @classmethod
    def of(cls, air: History, face: History | None) -> "_Around":
        first = float(air.temperature[0])
        if face is not None:
            return cls(lambda now: np.array([np.interp(now, *air), np.interp(now, *face)]), first, False)
        if float(np.ptp(air.temperature)) == 0.0:
            still = np.full(2, first)
            return cls(lambda _: still, first, True)
        return cls(lambda now: np.full(2, np.interp(now, air.time, air.temperature)), first, False)


def _shared(layers: Sequence[LaminateLayer], cells: int) -> list[int]:
    whole = sum(layer.thickness for layer in layers)
    return [max(1, round(cells * layer.thickness / whole)) for layer in layers]


def _told(resin: Resin, parts: list[_Part], stuff: Matter, row: _Row) -> Laminate:
    inert = row.temperature.size - row.progress.size
    slabs = [part.slab for part in parts]
    time = np.concatenate([slab.time for slab in slabs])
    hottest = np.concatenate([slab.temperature[:, inert:].max(axis=1) for slab in slabs])
    slowest = np.concatenate([np.maximum(slab.progress.min(axis=1), 0.0) for slab in slabs])
    peak = int(np.argmax(hottest))
    stored, made, heat = 0.0, 0.0, RisingCapacity.of(REFERENCE_TEMPERATURE, stuff.bend)
    for slab, capacity in parts:
        first, last = slab.temperature[0], slab.temperature[-1]
        own = heat.stored(last[inert:]) - heat.stored(first[inert:])
        stored += float((last - first)[:inert] @ capacity[:inert] + own @ capacity[inert:])
        gained = np.maximum(slab.progress[-1], 0.0) - np.maximum(slab.progress[0], 0.0)
        made += float(gained @ capacity[inert:]) * stuff.rise
    return Laminate(
        time=time,
        hottest=hottest,
        slowest=slowest,
        quickest=np.concatenate([np.maximum(slab.progress.max(axis=1), 0.0) for slab in slabs]),
        bond=np.concatenate([slab.temperature[:, inert] for slab in slabs]),
        peak_temperature=float(hottest[peak]),
        peak_time=float(time[peak]),
        gel=slabs[-1].passed(resin.milestones.gel, np.min),
        stored=stored,
        made=made,
        given_off=sum(slab.given_off for slab in slabs),
    )


def _require_layers(layers: Sequence[LaminateLayer], end: float) -> None:
    if not 1 <= len(layers) <= MOST_LAYERS:
        raise OutOfValidity("number of layers", len(layers), f"1..{MOST_LAYERS}", "a laminate")
    times = [layer.at for layer in layers]
    if times[0] != 0.0 or times != sorted(times) or times[-1] > end - 1.0:
        raise OutOfValidity(
            "time of a layer in s", times[-1], "the first 0, then rising, within the history", "a laminate"
        )
    for layer in layers:
        if not 1e-4 <= layer.thickness <= 0.2:
            raise OutOfValidity("thickness of a layer in m", layer.thickness, "0.0001..0.2 m", "a laminate")
