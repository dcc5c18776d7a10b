"""Many films at once: many weathers, many lots, many start times, in step through one flow map.

Theory of operation. A step of a film is one look-up, bilinear in progress and temperature, at the
temperature at which it goes as far as along its path. Where the temperature swings within a step,
and the film turns to glass meanwhile, no single temperature will do (it misses 1.4e-4 of conversion):
such a step is taken in two halves, each at a temperature of its own.

Laws kept: those of the film. Error against small steps stays below 5e-5 in conversion.
"""

import numpy as np
from numpy.typing import NDArray

from curewatch.model.film.equivalent_temperature import Warmth
from curewatch.model.film.flow_map import FlowMap, IndexArray, SingleArray

FRESH = 0.1  # conversion below which no film turns to glass


class Walk:
    """A crowd of films on its way through a flow map. Owns its buffers, sized once."""

    def __init__(self, table: FlowMap, lot: NDArray[np.intp], warmth: Warmth, rows: int) -> None:
        """``lot`` (members,)."""
        self._table, self._last = (
            table,
            np.float32(table.cells - 1e-3),
        )  # what is finished stays in the last cell
        self._base, self._weight = table.placed(warmth.steady, lot)
        self._swings = _Swings(table, lot, warmth)
        shape = (rows, lot.size)
        self._index: IndexArray = np.empty(shape, np.int32)
        self._place, self._whole, self._gained = (np.empty(shape, np.float32) for _ in range(3))
        self._taken = np.empty((*shape, 4), np.float32)

    def gain(self, progress: SingleArray, step: int) -> SingleArray:
        """Carry ``progress`` (rows, members) over one step in place; gives what was gained (a buffer)."""
        rows = progress.shape[0]
        index: IndexArray = self._index[:rows]
        place, whole, gained = (buffer[:rows] for buffer in (self._place, self._whole, self._gained))
        taken, layout = self._taken[:rows], self._table.steps
        np.multiply(progress, layout.scale, out=place)
        if layout.extra:
            np.minimum(progress, layout.bend, out=whole)
            whole *= layout.extra
            place += whole
            place += layout.offset
        np.minimum(place, self._last, out=place)
        np.copyto(index, place, casting="unsafe")
        np.copyto(whole, index, casting="unsafe")
        place -= whole
        member, these = self._swings.of(step)
        if member.size:
            bent = self._swings.bend(index[:, member], place[:, member], these)
        index += self._base[step]
        self._table.coefficients.take(index, axis=0, out=taken, mode="clip")
        np.multiply(taken[..., 3], place, out=gained)
        gained += taken[..., 2]
        gained *= self._weight[step]
        place *= taken[..., 1]
        gained += place
        gained += taken[..., 0]
        if member.size:
            gained[:, member] = np.where(progress[:, member] > FRESH, bent, gained[:, member])
        progress += gained
        return gained


class _Swings:
    """The films whose temperature swings, step by step, and what is to be added to their gain."""

    def __init__(self, table: FlowMap, lot: NDArray[np.intp], warmth: Warmth) -> None:
        step, member, early, late = warmth.swings
        self._table, self._member = table, member
        self._first = np.searchsorted(step, np.arange(warmth.steady.shape[0] + 1))
        self._early, self._late = (table.placed(each, lot[member]) for each in (early, late))

    def of(self, step: int) -> tuple[NDArray[np.intp], slice]:
        """The members in this step, and where they stand here."""
        these = slice(self._first[step], self._first[step + 1])
        return self._member[these], these

    def bend(self, cell: IndexArray, place: SingleArray, these: slice) -> SingleArray:
        """Gain of half a step at one temperature and half a step at another. [1]

        With g and g' of a whole step at each, to second order:
        (g1 + g2)/2 + ((g1 g2' - g2 g1') - (g1 - g2)(g1' - g2'))/8: the first half has gone its way when the
        second begins. Baker, Campbell and Hausdorff.
        """
        first, first_slope = self._seen(cell, place, these, self._early)
        second, second_slope = self._seen(cell, place, these, self._late)
        crossed = first * second_slope - second * first_slope
        crossed -= (first - second) * (first_slope - second_slope)
        return np.asarray(np.float32(0.5) * (first + second) + np.float32(0.125) * crossed)

    def _seen(
        self, cell: IndexArray, place: SingleArray, these: slice, where: tuple[IndexArray, SingleArray]
    ) -> tuple[SingleArray, SingleArray]:
        """Gain in a whole step, and how it changes with progress."""
        base, weight = where[0][these], where[1][these]
        taken = self._table.coefficients.take(cell + base, axis=0)
        slope = taken[..., 1] + weight * taken[..., 3]
        return taken[..., 0] + weight * taken[..., 2] + place * slope, slope * self._table.steps.scale
