"""Many films at once: many weathers, many lots, many start times, in step through one flow map.

Theory of operation. A step of a film is one look-up, bilinear in progress and temperature, at the
temperature at which it goes as far as along its path. Where the temperature swings within a step,
and the film turns to glass meanwhile, no single temperature will do (it misses 1.4e-4 of conversion):
such a step is taken as two half steps, each at a temperature of its own.

Laws kept: those of the film. Error against small steps stays below 1e-4 in conversion.
"""

import numpy as np
from numpy.typing import NDArray

from curewatch.model.film.equivalent_temperature import Warmth
from curewatch.model.film.flow_map import FlowMap, IndexArray, SingleArray

FRESH = 0.1  # conversion below which no film turns to glass


class Walk:
    """A crowd of films on its way through a flow map. Owns its buffers, sized once."""

    def __init__(
        self, tables: tuple[FlowMap, FlowMap], lot: NDArray[np.intp], warmth: Warmth, rows: int
    ) -> None:
        """``tables`` of a step and of half a step; ``lot`` (members,)."""
        self._table, half = tables
        self._last = np.float32(self._table.cells - 1e-3)  # what is finished stays in the last cell
        self._base, self._weight = self._table.placed(warmth.steady, lot)
        self._swings = _Swings(half, lot, warmth)
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
            bent = self._swings.gained(progress[:, member], these)
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
    """The films whose temperature swings, step by step, and what they gain."""

    def __init__(self, table: FlowMap, lot: NDArray[np.intp], warmth: Warmth) -> None:
        step, member, early, late = warmth.swings
        self._table, self._member = table, member
        self._first = np.searchsorted(step, np.arange(warmth.steady.shape[0] + 1))
        self._early, self._late = (table.placed(each, lot[member]) for each in (early, late))

    def of(self, step: int) -> tuple[NDArray[np.intp], slice]:
        """The members in this step, and where they stand here."""
        these = slice(self._first[step], self._first[step + 1])
        return self._member[these], these

    def gained(self, progress: SingleArray, these: slice) -> SingleArray:
        """Gain of half a step at one temperature and half a step at another. [1]"""
        first = self._half(progress, these, self._early)
        return first + self._half(progress + first, these, self._late)

    def _half(
        self, progress: SingleArray, these: slice, where: tuple[IndexArray, SingleArray]
    ) -> SingleArray:
        layout, base, weight = self._table.steps, where[0][these], where[1][these]
        place = progress * layout.scale
        if layout.extra:
            place += np.minimum(progress, layout.bend) * layout.extra + layout.offset
        place = np.minimum(place, np.float32(self._table.cells - 1e-3))
        cell = place.astype(np.int32)
        place -= cell
        taken = self._table.coefficients.take(cell + base, axis=0)
        slope = taken[..., 1] + weight * taken[..., 3]
        return np.asarray(taken[..., 0] + weight * taken[..., 2] + place * slope, dtype=np.float32)
