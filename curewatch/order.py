"""Order statistics: quantiles, median, distinct values.

numpy's own import its masked arrays when they are first called. That takes 30 ms of processor time, which
every short command would pay.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from curewatch.later import Later
from curewatch.units import FloatArray

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray
else:
    np = Later("numpy")
    ArrayLike = Any


def quantiles(values: ArrayLike, probabilities: Sequence[float], axis: int = -1) -> FloatArray:
    """Hazen's quantiles along an axis: place p n - 1/2, straight between. That axis goes, theirs comes first.

    With a nan among the values it is nan. Between a value and an infinite one it is infinite or nan.
    """
    ordered = np.moveaxis(np.sort(np.asarray(values, dtype=float), axis=axis), axis, -1)
    count = ordered.shape[-1]
    place = np.clip(np.asarray(probabilities) * count - 0.5, 0.0, count - 1.0)
    low = place.astype(int)
    high = np.minimum(low + 1, count - 1)
    weight = place - low
    with np.errstate(invalid="ignore"):
        between = ordered[..., low] + (ordered[..., high] - ordered[..., low]) * weight
    found = np.where(weight > 0.0, between, ordered[..., low])
    return np.asarray(np.moveaxis(np.where(np.isnan(ordered[..., -1:]), np.nan, found), -1, 0))


def median(values: ArrayLike, axis: int = -1) -> FloatArray:
    """The middle value, or the mean of the two."""
    return np.asarray(quantiles(values, (0.5,), axis)[0])


def distinct(values: "NDArray[Any]") -> "tuple[NDArray[Any], NDArray[np.intp]]":
    """Different values, rising, and the place of each value among them."""
    ordered = np.sort(values, axis=None)
    found = ordered[np.concatenate([np.ones(min(1, ordered.size), bool), ordered[1:] != ordered[:-1]])]
    return found, np.searchsorted(found, values)
