"""A thick laminate: resin and cloth on a substrate, laid in layers over time, heating itself.

Theory of operation. The laminate and its substrate are a row of cells from the back of the
substrate to the open face. Only the laminate's cells react; each new layer joins the row at the
temperature of the air. Between two layers ``heated_row`` carries it.

Law kept: heat made = heat stored + heat given off, within 0.1 % (tests/unit/test_laminate.py).
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.materials.substrate import Substrate
from curewatch.model.film.film import History, require_history
from curewatch.model.mass.heated_row import TOLERANCE, Slab, march, reaction
from curewatch.physics.heat_balance import STILL_AIR, Chain, in_series
from curewatch.units import FloatArray

CELLS = 20  # of the whole laminate
SUBSTRATE_CELLS = 6
TOLERANCE_JOINED = 2e-5  # of conversion a step, where a cold layer may land on one that runs away, or may not
MOST_LAYERS = 40
HOT = 343.15  # K, ASSUMED 70 degC (spread 10 K): foam cores and old laminate suffer, shrinkage shows
GLASS_FIBRE = (2550.0, 800.0, 1.0)  # density, heat capacity, conductivity, from memory [SI]
FIBRE_MASS_FRACTION = 0.45  # common practice: hand layup of biaxial glass 0.45 to 0.50


class LaminateLayer(NamedTuple):
    """One layer of the plan."""

    at: float  # laid, from the start [s]
    thickness: float  # wetted out [m]


class Matter(NamedTuple):
    """Resin and cloth together."""

    density: float  # [kg/m3]
    heat_capacity: float  # [J/(kg K)]
    conductivity: float  # [W/(m K)]
    rise: float  # adiabatic rise of full conversion [K]


class Laminate(NamedTuple):
    """What a laminate does. ``temperature`` and ``conversion`` are those of the last row of cells."""

    time: FloatArray  # (n,) [s]
    hottest: FloatArray  # (n,), hottest place of the laminate [K]
    slowest: FloatArray  # (n,), conversion where it is least, of the layers laid by then [1]
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
    """Mixture of resin and glass: masses add, volumes add, conductivities in between (geometric mean)."""
    if not 0.0 <= fibre_mass_fraction <= 0.8:
        raise OutOfValidity("fibre mass fraction", fibre_mass_fraction, "0..0.8", "a laminate")
    thermal, (density, capacity, conductivity) = resin.thermal, GLASS_FIBRE
    fibre, resin_share = fibre_mass_fraction, 1.0 - fibre_mass_fraction
    together = 1.0 / (fibre / density + resin_share / thermal.density)
    share = fibre * together / density
    heat_capacity = fibre * capacity + resin_share * thermal.heat_capacity
    return Matter(
        together,
        heat_capacity,
        float(conductivity**share * thermal.conductivity ** (1.0 - share)),
        resin_share * thermal.reaction_heat / heat_capacity,
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
    transfer: float = STILL_AIR,
    cells: int = CELLS,
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
    transfer : float
        To the air. [W/(m2 K)]
    cells : int
        Of the whole laminate, shared out by thickness, at least one a layer.

    Raises
    ------
    OutOfValidity
        No layer, too many, out of order, or of a thickness that is none.

    Source
    ------
    Fourier's law with the kinetics of the film; solve_ivp at rtol 1e-8 in tests/unit/test_laminate.py
    """
    require_history(air)
    _require_layers(layers, float(air.time[-1]))
    stuff = matter(resin, fibre_mass_fraction)
    factor = rate_factor * resin.dose_factor(peroxide_percent)
    law = reaction(resin, factor, stuff.rise, TOLERANCE if len(layers) == 1 else TOLERANCE_JOINED)
    counts = _shared(layers, cells)
    row = _Row.of(substrate, air)
    parts: list[_Part] = []
    ends = [layer.at for layer in layers[1:]] + [float(air.time[-1])]
    for layer, count, end in zip(layers, counts, ends, strict=True):
        row = row.topped(layer, count, stuff, resin, float(np.interp(layer.at, air.time, air.temperature)))
        if end - layer.at < 1.0:
            continue
        chain = row.chain(transfer, insulated=substrate is None)
        slab = march(law, chain, (row.progress, row.temperature), _around(air), (layer.at, end))
        parts.append(_Part(slab, chain))
        row = row._replace(progress=slab.progress[-1], temperature=slab.temperature[-1])
    return _told(resin, parts, stuff, row)


def layers_in_one_go(
    resin: Resin,
    thickness: float,
    air: History,
    substrate: Substrate | None = None,
    *,
    hottest: float = HOT,
    most: int = 12,
    fibre_mass_fraction: float = FIBRE_MASS_FRACTION,
    peroxide_percent: float | None = None,
) -> LayerCount:
    """How many layers of this thickness may go on at once before the laminate gets hotter than ``hottest``.

    Zero means that a single one already does. [m, K]
    """
    if not 1 <= most <= MOST_LAYERS:
        raise OutOfValidity("most layers", most, f"1..{MOST_LAYERS}", "a laminate")
    known: dict[int, float] = {}

    def peak(count: int) -> float:
        if count not in known:
            known[count] = laminate(
                resin,
                [LaminateLayer(0.0, count * thickness)],
                air,
                substrate,
                fibre_mass_fraction=fibre_mass_fraction,
                peroxide_percent=peroxide_percent,
            ).peak_temperature
        return known[count]

    low, high = 0, most + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if peak(middle) <= hottest else (low, middle)
    return LayerCount(low, peak(low) if low else float("nan"), known.get(low + 1, float("nan")))


class _Part(NamedTuple):
    """Between two layers."""

    slab: Slab
    chain: Chain


class _Row(NamedTuple):
    """Cells from the back to the open face; the substrate's come first and do not react."""

    width: FloatArray  # [m]
    capacity: FloatArray  # [J/(m3 K)]
    conductivity: FloatArray  # [W/(m K)]
    temperature: FloatArray  # [K]
    progress: FloatArray  # of the laminate's cells [1]

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
        )

    def chain(self, transfer: float, *, insulated: bool) -> Chain:
        half = 0.5 * self.width / self.conductivity
        back = 0.0 if insulated else in_series(transfer, 1.0 / float(half[0]))
        front = in_series(transfer, 1.0 / float(half[-1]))
        return Chain(self.width * self.capacity, 1.0 / (half[1:] + half[:-1]), np.array([back, front]))


def _around(air: History) -> Callable[[float], FloatArray]:
    if float(np.ptp(air.temperature)) == 0.0:
        steady = np.full(2, float(air.temperature[0]))
        return lambda _: steady
    return lambda now: np.full(2, np.interp(now, air.time, air.temperature))


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
    stored, made = 0.0, 0.0
    for slab, chain in parts:
        stored += float((slab.temperature[-1] - slab.temperature[0]) @ chain.capacity)
        gained = np.maximum(slab.progress[-1], 0.0) - np.maximum(slab.progress[0], 0.0)
        made += float(gained @ chain.capacity[inert:]) * stuff.rise
    return Laminate(
        time=time,
        hottest=hottest,
        slowest=slowest,
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
