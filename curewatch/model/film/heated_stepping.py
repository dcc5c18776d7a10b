"""Many layers with their own heat at once, in step through one flow map.

Theory of operation. A film is as warm as its surface; a layer is warmer by what its own heat has left in it
and in what it lies on. That excess obeys the same conduction as everything else, with the outside at
nought; so it is followed by itself, in a few nodes, and added to the surface's own path. The path is that of
the surface without the layer: a change of it reaches the layer only as fast as the layer warms. Heat capacity
rises: what is followed is stored heat, told as the temperature at the capacity of 25 degC. The face has one
transfer in the matrices; what it gives beyond that goes in with the reaction's heat.

In a step the excess that is there fades as conduction lets it, exactly (matrix exponential); what the
reaction adds is spread along a straight line over the step, which grows as it did from the step before to
this one. Within the step the layer warms by a fixed share of each unit of progress: such steps are tabulated
(:mod:`curewatch.model.film.flow_map`), so that a layer that runs away within one is met. The table takes the
excess that fades at its mean; a line that thus rises by F too much at the right mean is too slow by
(E/RT^2 F)^2 / 24, which is made good. Where nodes differ in that share, the table has their mean; the rest,
and the heat of the layers below, follows from the step before. What a layer must reach counts for its slowest
node, what it must not pass for its quickest.

What the chain remembers of a step is a few numbers: its slow modes, and what each node made. The other modes
have settled before the next step ends, and follow from what was made.

Law kept: heat made = heat stored + heat given off.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.materials.resin import Resin
from curewatch.model.film.flow_map import STEP, FlowMap, IndexArray, SingleArray, Slant
from curewatch.model.film.lots import Lot
from curewatch.model.film.stepping import Seen
from curewatch.model.mass.buildup import Buildup
from curewatch.order import median
from curewatch.physics.constants import GAS_CONSTANT, REFERENCE_TEMPERATURE
from curewatch.physics.heat_balance import Chain, Conduction, RisingCapacity, conduction, transfer_to_air
from curewatch.units import FloatArray

HEATED_LIMIT, HEATED_HALVINGS = 0.5, 2  # largest rate constant x step; but no step below 112 s
OWN_LIMIT = 1.0  # e-folds by which a layer's own heat may hasten it within a step; but no step below 112 s
MOST_GROWTH = 0.5  # of what was made in a step: by so much more is taken to be made from its start to its end
HASTENED = 310.15  # K, at which what a straight line within a step hastens is taken
SETTLED = 1e-3  # of a mode is left after a step: it is followed no more
PLACE, COOLER, WARMER = 0.25, 240, 1200  # K, and so many of them, between which a face's table lies
LEAST_BEND = 1e-5  # 1/K, of a heat capacity: by less, the root of what is stored is lost in single precision
MIDDLE, NUDGE = 290.15, 8.0  # K, surface of that table, and how far to either side its slope is taken


class Ageing(NamedTuple):
    """How fast a layer ages by a maker's statement, at the temperature of its warmest part."""

    energy: float  # [J/mol]
    reference: float  # temperature at which it ages as fast as time goes [K]
    limit: float  # age that is asked for [s]


class Stage(NamedTuple):
    """The nodes between the laying of one layer and the next, made ready for steps of one length.

    What is remembered is ``slow`` modes of the chain, what each reacting node made in the last step, and by
    how much more that was than in the step before.
    """

    begin: int  # step, from the start of the layer that is asked about
    joined: int  # reacting nodes that are new
    reacting: int
    slow: int
    enter: SingleArray  # (slow + 2 reacting, nodes): excess -> what is remembered
    excess: SingleArray  # (nodes, slow + 2 reacting): what is remembered -> excess
    meets: SingleArray  # (2 reacting, slow + 2 reacting): ... -> mean excess in the coming step, and its fall
    moves: SingleArray  # (slow, slow + 2 reacting): modes, and what is made meanwhile -> modes after a step
    half: SingleArray  # (reacting, reacting): a rise over a step -> excess in the mean of it
    alike: SingleArray  # (reacting, 1): the same, of a rise of all of them
    given: SingleArray  # (COOLER + WARMER, 2): what the face gives beyond the chain in a step, see _given


@lru_cache(maxsize=64)  # each of many ensembles of a layer asks for them, and each look of a process
def stages(resin: Resin, buildup: Buildup, step: float) -> tuple[Stage, ...]:
    """Every stage of a build-up, the first layer's first. [s]"""
    counts, found = buildup.nodes(), list[Stage]()
    for laid, ply in enumerate(buildup.plies, start=1):
        chain = buildup.chain(resin, laid)
        enter, excess, meets, moves = _remembered(conduction(chain), sum(counts[:laid]), step)
        given = _given(chain, buildup.face(resin, laid), buildup.bend(resin), step)
        reacting = sum(counts[:laid])
        half = conduction(chain).response(step).half[-reacting:, -reacting:].astype(np.float32)
        found.append(
            Stage(
                round(ply.at / step),
                counts[laid - 1],
                reacting,
                moves.shape[0],
                enter,
                excess,
                meets,
                moves,
                half,
                half.sum(axis=1)[:, None],
                given,
            )
        )
    return tuple(found)


def _remembered(chain: Conduction, reacting: int, step: float) -> tuple[SingleArray, ...]:
    """``enter``, ``excess``, ``meets`` and ``moves`` of a :class:`Stage`. [s]"""
    fade, mean, half = chain.shares(step)
    slow, to, own = fade > SETTLED, chain.to[-reacting:], chain.back[:, -reacting:]
    grown = half - 0.5 * mean  # what is made ever faster fades less
    met, made = to * mean, np.hstack((mean[:, None] * own, grown[:, None] * own))
    of_made, falls = met[:, ~slow] @ made[~slow], to * (1.0 - fade)
    settled = np.linalg.pinv(of_made[:, :reacting], rcond=1e-6) @ met[:, ~slow] @ chain.back[~slow]
    slanted = grown / (chain.value * step) + half / 6.0  # what is met lies about a slanted line
    of_made[:, reacting:] += (to * slanted) @ own
    four = (
        np.vstack((chain.back[slow], settled, 0.0 * settled)),  # as if it had been made: each meets the same
        np.hstack((chain.to[:, slow], chain.to[:, ~slow] @ made[~slow])),
        np.block([[met[:, slow], of_made], [falls[:, slow], falls[:, ~slow] @ made[~slow]]]),
        np.hstack((np.diag(fade[slow]), made[slow])),
    )
    return tuple(np.ascontiguousarray(each, dtype=np.float32) for each in four)


def _given(chain: Chain, resistance: float, bend: float, step: float) -> SingleArray:
    """What the uppermost node gives to the air beyond the chain, which has one transfer for all.

    By what it has stored beyond its surface, in units of PLACE, from -COOLER: at a surface of MIDDLE, and how
    much more for each kelvin by which that is warmer. [K], [1]
    """
    stored, capacity = PLACE * np.arange(-COOLER, WARMER), RisingCapacity.of(REFERENCE_TEMPERATURE, bend)
    two = []
    for surface in (MIDDLE - NUDGE, MIDDLE + NUDGE):
        kelvin = np.full_like(stored, surface)
        warmer = capacity.temperature(capacity.stored(kelvin) + stored) - kelvin
        transfer = transfer_to_air(warmer, kelvin)
        leaves = warmer * transfer / (1.0 + resistance * transfer) - chain.ends[1] * stored
        two.append(leaves * step / chain.capacity[-1])
    low, high = two
    return np.column_stack((0.5 * (low + high), (high - low) / (2.0 * NUDGE))).astype(np.float32)


@lru_cache(maxsize=64)
def slopes_of(resin: Resin, buildup: Buildup, step: float) -> tuple[Slant, ...]:
    """By how much its own progress warms each layer within a step, in the mean of its nodes. [s]"""
    chain, found, begin = buildup.chain(resin, len(buildup.plies)), list[Slant](), 0
    half = conduction(chain).response(step).half[-sum(buildup.nodes()) :, -sum(buildup.nodes()) :]
    for nodes, rise in zip(buildup.nodes(), buildup.rises(resin), strict=True):
        own = slice(begin, begin + nodes)
        slope = 2.0 * float(half[own, own].sum(axis=1).mean()) * rise
        found.append(Slant(slope, buildup.bend(resin)))
        begin += nodes
    return tuple(found)


def halved(lots: list[Lot], buildup: Buildup, warmest: float, step: float) -> float:
    """``step`` [s], or a half or quarter of it where layers would hasten themselves too much. [K] -> [s]

    Source: what the middle lot makes in a step at its first rate, as warmth that stays, by Arrhenius' law.
    """
    resin, shortest = lots[0].resin, STEP / 2**HEATED_HALVINGS
    rate = float(median([float(sum(lot.resin.law(lot.factor).constants(warmest))) for lot in lots]))
    hastens = rate * resin.kinetics.energy_2 / GAS_CONSTANT / warmest**2
    while step > shortest and hastens * step * slopes_of(resin, buildup, step)[-1].rise > OWN_LIMIT:
        step *= 0.5
    return step


def lag(resin: Resin, buildup: Buildup) -> float:
    """How long after the path of its surface a layer that makes no heat warms and cools, on a slow path. [s]

    Source: what is stored beyond a steady ramp, by its slope; from the modes of the chain.
    """
    chain, nodes = conduction(buildup.chain(resin, len(buildup.plies))), buildup.nodes()
    own = ((chain.to / -chain.value) @ chain.back[:, -sum(nodes) :])[-nodes[-1] :]
    return float(own.sum(axis=1).mean())


class Reacting(NamedTuple):
    """Nodes of layers of one resin that lie on each other."""

    nodes: slice
    table: FlowMap
    lot: NDArray[np.intp]  # (members,)
    fresh: SingleArray  # (members,), progress of the mix [1]
    rise: float  # of full progress [K]


class Rows(NamedTuple):
    """Where a layer's state has what: rows of (rows, layers)."""

    heat: slice  # what the chain remembers [K]
    progress: slice  # of each node [1]
    gained: slice  # by each node in the last step, where there are several [1]
    made: slice  # by each node in the last step; below 0 where there was none [K]
    given: int  # by the face beyond the chain, in a step [K]
    peak: int  # most that was stored, told as a temperature [K]
    age: int  # [s]

    @classmethod
    def of(cls, stage: Stage, *, several: bool) -> "Rows":
        """Of one stage; ``several`` where the last has more than one node."""
        begin = stage.slow + 2 * stage.reacting
        end = begin + stage.reacting
        last = end + (stage.reacting if several else 0)
        rest = last + stage.reacting
        return cls(
            slice(0, begin), slice(begin, end), slice(end, last), slice(last, rest), rest, rest + 1, rest + 2
        )


class HeatedStepper:
    """Steps of any layers with their own heat: each is told by its state and its member.

    A state is a column of (rows, layers); :meth:`lay` begins it.
    """

    def __init__(
        self,
        parts: list[Reacting],
        path: FloatArray,
        edge: FloatArray,
        found: tuple[tuple[Stage, ...], Ageing | None, float],
    ) -> None:
        """Make ready.

        Parameters
        ----------
        parts : list of Reacting
            The lowest first; the last is of the layer that is asked about.
        path : (steps, members)
            Temperature of the surface in the mean of each step. [K]
        edge : (steps + 1, members)
            Where steps meet. [K]
        found : (tuple of Stage, Ageing or None, float)
            The stages, how the layer ages, and how its heat capacity rises [1/K].
        """
        self._reacting, self._table = parts, parts[-1].table
        self.stages, self._ageing, bend = found
        self._several = self.stages[-1].reacting > 1
        self._rise = _column(parts, [part.rise for part in parts])
        self._slope = _column(parts, [part.table.rise for part in parts])
        self._go_on(self.stages[-1])
        stored = RisingCapacity.of(REFERENCE_TEMPERATURE, bend)
        self._capacity = RisingCapacity.of(REFERENCE_TEMPERATURE, max(bend, LEAST_BEND), np.float32)
        rows = np.empty((*path.shape, 3 + len(parts)), np.float32)
        rows[..., 0] = path - MIDDLE
        rows[..., 1] = stored.stored(path)
        rows[..., 2] = np.diff(edge, axis=0) * (1.0 + bend * (path - REFERENCE_TEMPERATURE))
        for place, part in enumerate(parts, start=3):
            rows.view(np.int32)[..., place] = part.lot * part.table.bands
        self._paths = rows.reshape(-1, 3 + len(parts))
        self._hastens = np.float32(self._table.activation / HASTENED**2 / 24.0)
        self._inhibited = any((part.fresh < 0.0).any() for part in parts)

    def _go_on(self, stage: Stage) -> None:
        self._now, self.rows = stage, Rows.of(stage, several=self._several)
        self._rises, self._slopes = (each[: stage.reacting] for each in (self._rise, self._slope))

    def lay(
        self, stage: int, member: NDArray[np.intp], above: SingleArray, below: SingleArray | None = None
    ) -> SingleArray:
        """State of layers (layers,) of these members, fresh on ``below`` and so much warmer than the surface.

        ``above`` (layers,) [K]; ``below`` is a state of the stage before, none of the first.
        """
        before, under = self.rows, self._now
        self._go_on(now := self.stages[stage])
        rows, nodes = self.rows, now.enter.shape[1]
        state = np.zeros((rows.age + 1, member.size), np.float32)
        excess = np.zeros((nodes, member.size), np.float32)
        if below is not None:
            excess[: nodes - now.joined] = _times(under.excess, below[before.heat])
            for mine, theirs in ((rows.progress, before.progress), (rows.gained, before.gained)):
                state[mine][: theirs.stop - theirs.start] = below[theirs]
        excess[nodes - now.joined :] = above
        state[rows.heat] = _times(now.enter, excess)
        laid = now.reacting - now.joined
        mix = next(part.fresh for part in self._reacting if part.nodes.start <= laid < part.nodes.stop)
        state[rows.progress][laid:] = mix.take(member)
        state[rows.made] = -1.0
        return state

    def taken_over(self, state: SingleArray, other: "HeatedStepper") -> SingleArray:
        """What layers have come to in steps of another length, as a state of this stepper."""
        mine, theirs, ratio = self.rows, other.rows, np.float32(self._table.step / other._table.step)
        found = np.empty((mine.age + 1, state.shape[1]), np.float32)
        found[mine.heat] = _times(self._now.enter, _times(other._now.excess, state[theirs.heat]))
        found[mine.progress.start :] = state[theirs.progress.start :]
        found[mine.gained] *= ratio
        found[mine.made] = -1.0
        found[mine.given] *= ratio
        return found

    def temperature(self, stored: FloatArray) -> FloatArray:
        """Of what has so much stored. (...) [K] -> [K]"""
        return np.asarray(self._capacity.temperature(stored))

    def warmth(self, surface: FloatArray, excess: SingleArray) -> FloatArray:
        """Temperature of what has so much stored beyond its surface. (...) [K] -> [K]"""
        return self._capacity.temperature(self._capacity.stored(surface) + excess)

    def seen(self, state: SingleArray) -> Seen:
        """Where these layers stand."""
        rows, own = self.rows, self._now.joined
        excess = _times(self._now.excess[-own:], state[rows.heat])
        progress = state[rows.progress][-own:]
        if own == 1:
            return Seen(progress[0], progress[0], state[rows.age], excess[0], state[rows.peak])
        parts = progress.min(axis=0), progress.max(axis=0), state[rows.age], excess.max(axis=0)
        return Seen(*parts, state[rows.peak])

    def advance(self, state: SingleArray, at: NDArray[np.intp]) -> Seen:
        """Carry layers over one step; gives where they stand then."""
        rows, met = self.rows, self._paths.take(at, axis=0, mode="clip").T
        middle = met[1]
        self._gain(state, met)
        seen = self.seen(state)
        warmest = seen.excess + middle
        np.maximum(state[rows.peak], warmest, out=state[rows.peak])
        if self._ageing:
            energy, reference, _ = self._ageing
            inverse = np.float32(1.0 / reference) - np.float32(1.0) / self._capacity.temperature(warmest)
            state[rows.age] += np.float32(self._table.step) * np.exp(
                np.float32(energy / GAS_CONSTANT) * inverse
            )
        return seen

    def _gain(self, state: SingleArray, path: SingleArray) -> None:
        """``path`` (3 + parts, layers): surface above MIDDLE, its stored heat and its change [K]; lots."""
        now, rows = self._now, self.rows
        heat, progress, given = state[rows.heat], state[rows.progress], state[rows.given]
        hotter, middle, change, *first = path
        rise, slope = self._rises, self._slopes
        met = _times(now.meets, heat)
        warmth, fall = met[: now.reacting], met[now.reacting :]
        warmth -= now.half[:, -1:] * given
        warmth -= now.alike * change
        mean = warmth[-1].copy()  # of the uppermost node in this step, but for what it gains
        warmth += middle
        if self._several:
            gained = state[rows.gained]
            uneven = _times(now.half, rise * gained)
            uneven -= (np.float32(0.5) * slope) * gained
            warmth += uneven
            fall -= np.float32(2.0) * uneven
        fall *= fall
        fall *= self._hastens
        warmth += fall
        before = np.maximum(progress, np.float32(0)) if self._inhibited else progress
        warmth -= slope * before
        gained = self._gained(progress, warmth, first)
        if self._several:
            state[rows.gained] = gained
        made, grown = heat[now.slow : -now.reacting], heat[-now.reacting :]
        if self._inhibited:
            np.maximum(progress + gained, np.float32(0), out=made)
            made -= before
            made *= rise
        else:
            np.multiply(gained, rise, out=made)
        self._grow(grown, made, state[rows.made])
        progress += gained
        mean += _times(now.half[-1], made)
        self._give(mean, hotter, given)
        made[-1] -= given
        made -= change
        heat[: now.slow] = _times(now.moves, heat)

    @staticmethod
    def _grow(grown: SingleArray, made: SingleArray, before: SingleArray) -> None:
        """By how much more was made than in the step before, (nodes, layers) [K]; then that is forgotten."""
        np.subtract(made, before, out=grown)
        grown[before < 0.0] = 0.0
        np.minimum(grown, np.float32(MOST_GROWTH) * made, out=grown)
        before[:] = made

    def _gained(self, progress: SingleArray, warmth: SingleArray, firsts: list[SingleArray]) -> SingleArray:
        """By each node in a step, by progress and the temperature at which it would have begun. [1]"""
        found = list[SingleArray]()
        for part, first in zip(self._reacting, firsts, strict=True):
            here = part.nodes
            if here.start < progress.shape[0]:
                found.append(_looked_up(part.table, first.view(np.int32), progress[here], warmth[here]))
        return found[0] if len(found) == 1 else np.concatenate(found)

    def _give(self, mean: SingleArray, hotter: SingleArray, given: SingleArray) -> None:
        """What the face gives in a step beyond the chain, by the mean of the uppermost node. [K] -> [K]"""
        mean *= np.float32(1.0 / PLACE)
        mean += np.float32(COOLER + 0.5)
        taken = self._now.given.take(mean.astype(np.int32), axis=0, mode="clip")
        np.multiply(taken[:, 1], hotter, out=given)
        given += taken[:, 0]


def _column(parts: list[Reacting], values: list[float]) -> SingleArray:
    """A value of each part, for each of its nodes: (nodes, 1); one where all are of one resin."""
    counts = [part.nodes.stop - part.nodes.start for part in parts] if len(parts) > 1 else [1]
    return np.repeat(np.array(values, np.float32), counts)[:, None]


def _times(matrix: SingleArray, state: SingleArray) -> SingleArray:
    """Their product.

    For one column OpenBLAS 0.3.31 reads memory that nobody wrote, and does not use it: the product is right,
    and a warning that numpy makes of it is not.
    """
    product: SingleArray
    if state.shape[-1] > 1:
        product = np.dot(matrix, state)
    else:
        with np.errstate(invalid="ignore"):
            product = np.dot(matrix, state)
    return product


def _looked_up(table: FlowMap, first: IndexArray, progress: SingleArray, warmth: SingleArray) -> SingleArray:
    """Progress gained in a step, by progress and the temperature at which it would have begun."""
    cell, place = table.cell_of(progress)
    warmth -= np.float32(table.coldest)
    warmth *= np.float32(1.0 / table.spacing)
    np.maximum(warmth, np.float32(0.0), out=warmth)  # np.clip takes longer to call
    np.minimum(warmth, np.float32(table.bands - 1e-3), out=warmth)
    band: IndexArray = warmth.astype(np.int32)
    warmth -= band.astype(np.float32)
    band += first
    band *= np.int32(table.cells)
    band += cell
    taken = table.coefficients.take(band, axis=0, mode="clip")
    slope = taken[..., 3] * warmth
    slope += taken[..., 1]
    slope *= place
    warmth *= taken[..., 2]
    warmth += taken[..., 0]
    warmth += slope
    return warmth
