"""How far a film goes in one short step, as a table: what many films are stepped through together.

Theory of operation. In a step at one temperature a film goes as far as its progress and that
temperature say. That flow is tabulated once for each lot (progress x temperature), for bilinear
interpolation; stepping takes films through it. At one temperature the time to each progress is an
integral of the slowness over progress; a step is what lies a step's length further along it. So the steep
entry into the glass, where time stepping would need a hundred small steps, costs nothing.

A layer that warms itself by ``rise`` for each unit of progress within a step goes along a slanted line:
what stays the same on it is the heat that it has stored less ``rise`` x progress. The same table then goes by
that; stored heat is told as the temperature at a heat capacity that does not rise.
"""

from collections import OrderedDict
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.materials.resin import Resin
from curewatch.model.film.lots import Lot
from curewatch.model.mass.runge_kutta import refine
from curewatch.order import distinct
from curewatch.physics.constants import GAS_CONSTANT, REFERENCE_TEMPERATURE
from curewatch.physics.cure_kinetics import HIGHEST, LOWEST
from curewatch.physics.heat_balance import RisingCapacity
from curewatch.units import FloatArray

SingleArray = NDArray[np.float32]
IndexArray = NDArray[np.int32]

STEP = 450.0  # s, halved for fast resins
STEP_LIMIT = 0.5  # largest rate constant x step of the stepping
MOST_HALVINGS = 4  # a film so hot that 28 s is long for it gels within minutes: its marks are then rough
CELLS = 384  # of progress
CELLS_INHIBITED = 768  # half of them for the little before EARLY
RANGE = 5.0  # K
SPACING = 0.25  # K between temperatures of the table; 0.5 K errs by 8e-5 of conversion in the glass
EARLY = 0.1  # progress below which an inhibited resin is tabulated more finely
ANCHORS = 4  # lengths at which an integration is kept
CELLS_HEATED, SPACING_HEATED = 192, 1.0  # of layers with their own heat, whose table is ten times as wide
HEADROOM = 40.0  # K by which a layer may be warmer than its air before it has made heat
FINE = 4  # parts of a cell over which the slowness is integrated
LAST = np.geomspace(0.5, 1e-4, 14)  # of the last part: what is still to come, near full conversion
LONGEST = 1e9  # s
MARGIN = 15.0  # K below the coldest air
AT_ONCE = 1.0  # 1/s


class Steps(NamedTuple):
    """Where the nodes of progress lie: index = progress * scale + min(progress, bend) * extra + offset."""

    nodes: FloatArray
    scale: np.float32
    extra: np.float32
    bend: np.float32
    offset: np.float32


class Slant(NamedTuple):
    """How a layer's own progress warms it within a step."""

    rise: float = 0.0  # of full progress, at the heat capacity of 25 degC [K]
    bend: float = 0.0  # by which that rises [1/K]


LEVEL = Slant()  # of a film


class FlowMap(NamedTuple):
    """Progress gained in one step, as the four coefficients of each cell, for each lot."""

    step: float  # [s]
    steps: Steps
    coldest: float  # lowest temperature of the table [K]
    spacing: float  # [K]
    bands: int  # cells of temperature
    activation: float  # E/R [K]
    rise: float  # of the heat stored in the layer, for each unit of progress within a step [K]
    coefficients: SingleArray  # (lots * bands * cells, 4): a cell's four lie side by side, one fetch for all

    @property
    def cells(self) -> int:
        """Of progress, in each band of temperature."""
        return self.steps.nodes.size - 1

    @property
    def warmest(self) -> float:
        """Highest temperature of the table. [K]"""
        return RANGE * round((self.coldest + self.bands * self.spacing) / RANGE)

    def cell_of(self, progress: SingleArray) -> tuple[IndexArray, SingleArray]:
        """Which cell of a band each progress lies in, and how far within; the last keeps what is finished.

        Any shape (...), both answers the same. [1] -> [1, 1]
        """
        layout = self.steps
        place = progress * layout.scale
        if layout.extra:
            place += np.minimum(progress, layout.bend) * layout.extra + layout.offset
        np.minimum(place, np.float32(self.cells - 1e-3), out=place)
        cell = place.astype(np.int32)
        place -= cell.astype(
            np.float32
        )  # whole numbers would be taken off in double precision, twice as long
        return cell, place

    def placed(self, temperature: FloatArray, lot: NDArray[np.intp]) -> tuple[IndexArray, SingleArray]:
        """First cell of each temperature's band in each lot's table, and how far within the band it lies.

        A straight line between two nodes lies above Arrhenius' law: it is met a little further down.

        ``temperature`` (starts,) [K], ``lot`` (starts,); both answers (starts,) [1].
        """
        place = (temperature - self.coldest) / self.spacing
        band = np.clip(place.astype(np.int32), 0, self.bands - 1)
        place -= band
        bend = 0.5 * self.spacing * (self.activation / temperature**2 - 2.0 / temperature)
        weight = place - bend * place * (1.0 - place)
        return ((lot * self.bands + band) * self.cells).astype(np.int32), weight.astype(np.float32)


_Asked = tuple[tuple[Lot, ...], float, Slant]  # lots, step [s], rise of the layer


def flow_map(lots: list[Lot], coldest: float, warmest: float, step: float, slant: Slant = LEVEL) -> FlowMap:
    """One step of every lot, for temperatures between two. [K, K, s, K]

    The range is widened to whole 5 K and grows with what is asked, so that the next question about the
    same resin finds the table made, and a path alone goes the same way as in an ensemble: the nodes are the
    same however wide the table is.
    """
    low, high = RANGE * float(np.floor(coldest / RANGE)), RANGE * float(np.ceil(warmest / RANGE))
    if slant.rise:
        low, high = low - RANGE * float(np.ceil(slant.rise / RANGE)), high + HEADROOM
    asked = tuple(lots), step, slant
    kept = SHELF.table(asked)
    if kept is not None:
        low, high = min(low, kept.coldest), max(high, kept.warmest)
    if kept is None or (low, high) != (kept.coldest, kept.warmest):
        kept = _tabulated(tuple(lots), low, high, step, slant)
    SHELF.keep(asked, kept)
    return kept


class TableShelf:
    """The widest table made so far for each question; the least used goes first.

    A table takes 10 MB for 16 lots over 25 K, twice that for an inhibited resin. A process that looks at
    many sheds meets many resins, and sets ``most`` higher.
    """

    def __init__(self, most: int) -> None:
        self.most = most
        self._tables: OrderedDict[_Asked, FlowMap] = OrderedDict()

    def table(self, asked: _Asked) -> FlowMap | None:
        """The table of this question, if it is there."""
        return self._tables.get(asked)

    def keep(self, asked: _Asked, table: FlowMap) -> None:
        """Keep it, as the one used last."""
        self._tables.pop(asked, None)
        self._tables[asked] = table
        while len(self._tables) > self.most:
            self._tables.popitem(last=False)


SHELF = TableShelf(6)


def _tabulated(lots: tuple[Lot, ...], coldest: float, warmest: float, step: float, slant: Slant) -> FlowMap:
    rise = slant.rise
    bands = max(1, int(np.ceil((warmest - coldest) / (SPACING_HEATED if rise else SPACING))))
    spacing = max((warmest - coldest) / bands, 1e-6)
    temperature: FloatArray = coldest + spacing * np.arange(bands + 1, dtype=float)
    steps = _progress_nodes(max(lot.resin.kinetics.inhibitor for lot in lots), heated=rise > 0.0)
    cells = bands * (steps.nodes.size - 1)
    coefficients = np.empty((len(lots), cells, 4), np.float32)
    for resin in {id(lot.resin): lot.resin for lot in lots}.values():
        index = [place for place, lot in enumerate(lots) if lot.resin is resin]
        factors = np.array([lots[place].factor for place in index])
        weights, gained = _gained((resin, slant), steps.nodes, temperature, factors, step)
        gained = np.maximum(gained - _bulge(gained, 1) - _bulge(gained, 2), 0.0)
        low, high = gained[:, :-1, :-1], gained[:, :-1, 1:]
        up, across = gained[:, 1:, :-1], gained[:, 1:, 1:]
        four = np.stack((low, high - low, up - low, across - up - high + low), axis=-1, dtype=np.float32)
        coefficients[index] = (weights @ four.reshape(weights.shape[1], -1)).reshape(-1, cells, 4)
    activation = lots[0].resin.kinetics.energy_2 / GAS_CONSTANT
    return FlowMap(step, steps, coldest, spacing, bands, activation, rise, coefficients.reshape(-1, 4))


def _bulge(gained: FloatArray, axis: int) -> FloatArray:
    """How far straight lines between nodes lie above a curve in the mean: a twelfth of its bend."""
    ends = [(0, 0)] * gained.ndim
    ends[axis] = (1, 1)
    return np.pad(np.diff(gained, 2, axis=axis) / 12.0, ends)


def step_of(
    lots: list[Lot], warmest: float, limit: float = STEP_LIMIT, halvings_at_most: int = MOST_HALVINGS
) -> float:
    """A step that these lots can be stepped by: 7.5 minutes, halved for fast resins. [K] -> [s]

    ``limit`` of rate constant x step. [1]
    """
    slow_first = sorted(lots, key=lambda lot: lot.factor)
    quickest = {id(lot.resin): lot for lot in slow_first}  # of each resin the last
    constants = (lot.resin.law(lot.factor).constants(warmest) for lot in quickest.values())
    fastest = max(float(k1 + k2) for k1, k2 in constants)
    halvings = int(np.ceil(np.log2(fastest * STEP / limit)))
    return float(STEP / 2 ** min(max(0, halvings), halvings_at_most))


def _progress_nodes(inhibitor: float, *, heated: bool = False) -> Steps:
    cells = CELLS_HEATED if heated else CELLS
    if inhibitor == 0.0:
        nothing = np.float32(0)
        return Steps(np.linspace(0.0, 1.0, cells + 1), np.float32(cells), nothing, nothing, nothing)
    half = (cells if heated else CELLS_INHIBITED) // 2
    nodes = np.concatenate([np.linspace(-inhibitor, EARLY, half + 1), np.linspace(EARLY, 1.0, half + 1)[1:]])
    fine, coarse = half / (EARLY + inhibitor), half / (1.0 - EARLY)
    offset = half - EARLY * fine
    return Steps(nodes, np.float32(coarse), np.float32(fine - coarse), np.float32(EARLY), np.float32(offset))


def _gained(
    mix: tuple[Resin, Slant], nodes: FloatArray, temperature: FloatArray, factors: FloatArray, step: float
) -> tuple[SingleArray, FloatArray]:
    """Progress gained in a step, at some anchors, and each lot's weights of them.

    A lot that is r times as fast goes as far in a step as the resin does in r steps. So one
    integration serves all lots: it is read at four lengths, and a cubic through them gives the others.

    Returns
    -------
    weights (lots, anchors), gained (anchors, temperatures, nodes)
    """
    several, place = distinct(factors)
    if several.size <= ANCHORS:
        kept = _integrated(mix, nodes, temperature, several * step)
        return np.eye(several.size, dtype=np.float32)[place], kept
    low, high = several[0], several[-1]
    angle = (2 * np.arange(ANCHORS) + 1) * np.pi / (2 * ANCHORS)
    anchors = 0.5 * (low + high) - 0.5 * (high - low) * np.cos(angle)  # Chebyshev's nodes
    weights = np.array([
        np.prod([(factors - other) / (anchor - other) for other in anchors if other != anchor], axis=0)
        for anchor in anchors
    ])  # fmt: skip
    kept = _integrated(mix, nodes, temperature, anchors * step)
    return weights.T.astype(np.float32), kept


def _integrated(
    mix: tuple[Resin, Slant], nodes: FloatArray, temperature: FloatArray, lengths: FloatArray
) -> FloatArray:
    """Progress gained over each of some lengths of time: (lengths, temperatures, nodes).

    ``mix``: the resin, and how progress warms it. No layer is as cold as the beginning of a
    slanted line far below the coldest air: there it goes at once.
    """
    resin, (rise, bend) = mix
    coldest = temperature[0] + (rise - MARGIN if rise else 0.0)
    fine = np.interp(np.arange(FINE * (nodes.size - 1)) / FINE, np.arange(nodes.size), nodes)
    fine = np.append(fine, 1.0 - (1.0 - fine[-1]) * LAST)
    capacity = RisingCapacity.of(REFERENCE_TEMPERATURE, bend)
    law, middle = resin.law().at(np.exp), 0.5 * (fine[1:] + fine[:-1])

    def speed(progress: FloatArray) -> FloatArray:
        conversion = np.clip(progress, 0.0, 1.0)
        warmth = temperature[:, None] + rise * conversion
        kelvin = capacity.temperature(np.maximum(warmth, coldest)) if bend else warmth
        met = law(conversion, np.clip(kelvin, LOWEST, HIGHEST))
        return np.where(warmth < coldest, AT_ONCE, met) if rise else np.asarray(met)

    rate, between = speed(fine), speed(middle)
    slowness = np.diff(fine) / 6.0 * (1.0 / rate[:, 1:] + 4.0 / between + 1.0 / rate[:, :-1])  # Simpson's
    time = np.zeros_like(rate)
    time[:, 1:] = np.minimum(np.cumsum(slowness, axis=1), LONGEST)
    rows = (
        2.0 * LONGEST * np.arange(temperature.size)[:, None]
    )  # one after the other, to search in all at once
    begin = np.concatenate([time[:, : -LAST.size : FINE], time[:, -1:]], axis=1)
    kept = np.empty((lengths.size, temperature.size, nodes.size))
    for place, length in enumerate(lengths):
        wanted = begin + length
        index = np.searchsorted((time + rows).ravel(), (wanted + rows).ravel()).reshape(wanted.shape)
        index = np.clip(index - fine.size * np.arange(temperature.size)[:, None], 1, fine.size - 1)
        met = np.clip(_between(time, fine, rate, wanted, index) - nodes, 0.0, 1.0 - nodes)
        kept[place] = np.where(
            wanted < LONGEST, met, 0.0
        )  # it stands still: no end of it is within the table
    return kept


def _between(
    time: FloatArray, progress: FloatArray, rate: FloatArray, wanted: FloatArray, index: NDArray[np.intp]
) -> FloatArray:
    """Progress at times between two points each, by the cubic that has their rates."""
    early, late = (np.take_along_axis(time, index - back, axis=1) for back in (1, 0))
    slow, fast = (np.take_along_axis(rate, index - back, axis=1) for back in (1, 0))
    length = np.maximum(late - early, 1e-9)
    share = np.minimum((wanted - early) / length, 1.0)
    ends = (progress[index - 1], progress[index], slow, fast)
    return refine(share, length, ends)
