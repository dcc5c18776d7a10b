"""The track of a sensor out of a stretch of its readings at once: what ``health.step`` makes one by one.

Law: ``trace(name, series)`` is the fold of :func:`~curewatch.shed.health.step` over the readings. Stepping
costs microseconds a reading, little for a daemon, and seconds for a command that begins with nothing.
"""

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from curewatch.later import Later
from curewatch.logbook import Series
from curewatch.readings import Flag, Reading
from curewatch.shed import health
from curewatch.shed.halves import Halves
from curewatch.shed.health import (
    JUMPS_MANY,
    LONGEST,
    SATURATED_AT,
    SPACING,
    STIRRED,
    SWAP_MANY,
    SWAP_MOVE,
    StillQuantity,
    Track,
    TrackPoint,
)
from curewatch.units import FloatArray

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Mask = NDArray[np.bool_]
    Places = slice | NDArray[np.int64]
else:
    np = Later("numpy")  # readings are judged one by one without it
    Mask = Places = Any


_POINT = partial(tuple.__new__, TrackPoint)  # of a row: three times as fast as the constructor of four


class _ThinnedPoints(Sequence[TrackPoint]):
    """The points of a track, made for who goes through them: while no sensor stands still nobody does."""

    def __init__(self, found: Series) -> None:
        self._kept: Series | tuple[TrackPoint, ...] = found

    def _made(self) -> tuple[TrackPoint, ...]:
        if isinstance(self._kept, Series):
            self._kept = _points(self._kept, np.array(_spaced(self._kept.time)[-LONGEST:]))
        return self._kept

    def __len__(self) -> int:
        return len(self._made())

    def __getitem__(self, place: Any) -> Any:
        return self._made()[place]

    def __eq__(self, other: object) -> bool:
        return self._made() == other

    __hash__ = None  # type: ignore[assignment]


def trace(name: str, found: Series) -> tuple[Track, Reading | None]:
    """The track that these readings make, and the last of them; they are in the order of their time."""
    if not found.time.size:
        return Track(), None
    last = reading_at(name, found, found.time.size - 1)
    warm, damp = ~np.isnan(found.temperature), ~np.isnan(found.relative_humidity)
    kinds = ((warm & ~damp).any(), (damp & ~warm).any(), not (warm | damp).all())
    if sum(map(bool, kinds)) > 1:  # what comes without a quantity takes it from the half before
        return _stepped(name, found), last
    return _at_once(found, warm, damp), last


def reading_at(name: str, found: Series, place: int) -> Reading:
    """One reading of a series, without what a track does not need."""
    return Reading(
        name,
        float(found.time[place]),
        float(found.received[place]),
        _known(found.temperature[place]),
        _known(found.relative_humidity[place]),
        _known(found.quantities["carbon_dioxide"][place]),
        flags=int(found.flags[place]),
    )


def _stepped(name: str, found: Series) -> Track:
    """One by one: a sensor that speaks in halves, whose halves belong together by their time."""
    track = Track()
    for place in range(found.time.size):
        track = health.step(track, reading_at(name, found, place))
    return track


def _at_once(found: Series, warm: Mask, damp: Mask) -> Track:
    time, temperature, humidity = found.time, found.temperature, found.relative_humidity

    same = _same(temperature[1:], temperature[:-1]) & _same(humidity[1:], humidity[:-1])
    begin = _after_last(~same)  # the step from n to n + 1 is at n
    saturated = humidity >= SATURATED_AT
    wet_from = _after_last(~saturated)  # behind the last that was not
    jumped = np.flatnonzero(found.flags & Flag.JUMP)[-JUMPS_MANY:]
    moved = np.flatnonzero(np.abs(np.diff(temperature)) >= SWAP_MOVE)[-SWAP_MANY:]
    moves = zip(_points(found, moved), _points(found, moved + 1), strict=True) if moved.size else ()
    return Track(
        points=_ThinnedPoints(found),
        last=_points(found, slice(-1, None))[0],
        unchanged_since=float(time[begin]),
        unchanged_count=time.size - begin,
        saturated_since=float(time[wet_from]) if saturated[-1] else None,
        jumps=tuple(time[jumped].tolist()),
        moves=tuple(moves),
        halves=_halves(found, warm & ~damp, damp & ~warm),
        interval=float(time[-1] - time[-2]) if time.size > 1 else 0.0,
        temperature=_still(time, temperature, humidity),
        humidity=_still(time, humidity, temperature),
    )


def _still(time: FloatArray, values: FloatArray, other: FloatArray) -> StillQuantity:
    """Since when a quantity is the very same, and the span of the other one since."""
    if np.isnan(values[-1]):
        return STIRRED
    begin = _after_last(values[1:] != values[:-1])
    beside = other[begin:]
    beside = beside[~np.isnan(beside)]
    span = (float(beside.min()), float(beside.max())) if beside.size else STIRRED[2:]
    return StillQuantity(float(time[begin]), time.size - begin, *span)


def _points(found: Series, places: Places) -> tuple[TrackPoint, ...]:
    """The points at these places."""
    quantities = (found.temperature[places], found.relative_humidity[places])
    said = (map(_known, each.tolist()) if np.isnan(each).any() else each.tolist() for each in quantities)
    columns = (found.time[places].tolist(), *said, found.flags[places].tolist())
    return tuple(map(_POINT, zip(*columns, strict=True)))


def _same(one: FloatArray, other: FloatArray) -> Mask:
    """Equal, or wanting in both."""
    same: Mask = (one == other) | (np.isnan(one) & np.isnan(other))
    return same


def _after_last(true: Mask) -> int:
    """The place behind the last that is true; the first if none is."""
    places = np.flatnonzero(true)
    return int(places[-1]) + 1 if places.size else 0


def _spaced(time: FloatArray) -> list[int]:
    """Places of the points that thinning keeps: the first, then each at least SPACING after the last kept."""
    kept, last = [], float("-inf")
    for place, at in enumerate(time.tolist()):
        if at - last >= SPACING:
            kept.append(place)
            last = at
    return kept


def _halves(found: Series, warm: Mask, damp: Mask) -> Halves:
    """The newest half of the kind that there is."""
    halves = Halves()
    if warm.any():
        place = int(np.flatnonzero(warm)[-1])
        halves = halves._replace(warm=(float(found.time[place]), float(found.temperature[place])))
    if damp.any():
        place = int(np.flatnonzero(damp)[-1])
        halves = halves._replace(damp=(float(found.time[place]), float(found.relative_humidity[place])))
    return halves


def _known(value: float) -> float | None:
    """nan stands for "no such quantity"."""
    return None if value != value else float(value)  # noqa: PLR0124
