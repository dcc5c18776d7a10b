"""Many films at once: many weathers, many lots, many start times, in step through one flow map.

Theory of operation. A step of a film is one look-up, bilinear in progress and temperature, at the
temperature at which it goes as far as along its path. Where the temperature swings within a step,
and the film turns to glass meanwhile, no single temperature will do (it misses 1.4e-4 of conversion):
such a step is taken in equal parts, each at a temperature of its own.

Laws kept: those of the film. Error against small steps stays below 1e-4 in conversion.
"""

from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from curewatch.model.film.equivalent_temperature import EquivalentTemperature
from curewatch.model.film.flow_map import FlowMap, IndexArray, SingleArray
from curewatch.units import FloatArray

FRESH = 0.1  # conversion below which no film turns to glass


class Seen(NamedTuple):
    """Where films or layers stand. Arrays (films,)."""

    slowest: SingleArray  # progress of the slowest part [1]
    quickest: SingleArray
    age: SingleArray | None = None  # by a maker's statement [s]
    excess: SingleArray | None = None  # what the warmest part has stored beyond its surface [K]
    peak: SingleArray | None = None  # most that it has stored so far [K]


class Carries(Protocol):
    """What carries films or layers over a step. A state is (rows, films)."""

    def advance(self, state: SingleArray, at: NDArray[np.intp]) -> Seen:
        """Carry films over a step, in place; gives where they stand then.

        ``at`` (films,): the place of each in the paths, step x members + member.
        """

    def seen(self, state: SingleArray) -> Seen:
        """Where they stand."""

    def warmth(self, surface: FloatArray, excess: SingleArray) -> FloatArray:
        """Temperature of what has so much stored beyond its surface: (...) [K] -> [K]"""


class Stepper:
    """Steps of any films through a flow map: each is told by its progress and its place in the paths."""

    def __init__(
        self, tables: tuple[FlowMap, FlowMap], lot: NDArray[np.intp], warmth: EquivalentTemperature
    ) -> None:
        """``tables`` of a step and of a part of one; ``lot`` (members,)."""
        self._table, parts = tables
        base, weight = self._table.placed(warmth.steady, lot)
        self._base, self._weight = base.ravel(), weight.ravel()
        self._swings = _Swings(parts, lot, warmth)

    def advance(self, state: SingleArray, at: NDArray[np.intp]) -> Seen:
        """Carry films over a step; their state is their progress alone."""
        state[0] += self._gained(state[0], at)
        return self.seen(state)

    def seen(self, state: SingleArray) -> Seen:
        """Where these films stand."""
        return Seen(state[0], state[0])

    def warmth(self, surface: FloatArray, excess: SingleArray) -> FloatArray:
        """A film is as warm as its surface: (...) [K]"""
        return surface

    def _gained(self, progress: SingleArray, at: NDArray[np.intp]) -> SingleArray:
        """Progress gained in a step, by films (films,). [1]"""
        index, place = self._table.cell_of(progress)
        index += self._base.take(at, mode="clip")
        gained = _bilinear(self._table, index, place, self._weight.take(at, mode="clip"))
        film, there = self._swings.met(at)
        if film.size:
            late = progress.take(film)
            bent, turning = self._swings.gained(late, there), late > FRESH
            gained[film[turning]] = bent[turning]
        return gained


class _Swings:
    """The members whose temperature swings, step by step, and what their films gain."""

    def __init__(self, table: FlowMap, lot: NDArray[np.intp], warmth: EquivalentTemperature) -> None:
        step, member, parts = warmth.swings
        self._table = table
        self._parts = [table.placed(each, lot[member]) for each in parts]
        self._number = np.full(warmth.steady.size, -1, np.int32)
        self._number[step * lot.size + member] = np.arange(step.size)

    def met(self, at: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.int32]]:
        """Which of these films swing in this step, and the number of that swing."""
        there = self._number.take(at, mode="clip")
        film = (there >= 0).nonzero()[0]
        return film, there.take(film)

    def gained(self, progress: SingleArray, there: NDArray[np.int32]) -> SingleArray:
        """Gain of a step's parts, each at a temperature of its own. [1]"""
        now = progress
        for base, weight in self._parts:
            index, place = self._table.cell_of(now)
            now = now + _bilinear(self._table, index + base.take(there), place, weight.take(there))
        return now - progress


def _bilinear(table: FlowMap, index: IndexArray, place: SingleArray, weight: SingleArray) -> SingleArray:
    """Gain within these cells; ``place`` is used up."""
    taken = table.coefficients.take(index, axis=0, mode="clip")
    gained = taken[:, 3] * place
    gained += taken[:, 2]
    gained *= weight
    place *= taken[:, 1]
    gained += place
    gained += taken[:, 0]
    return gained
