"""Ridge regression that also tells what it would have said of stretches of days it was not fitted on.

*Theory of operation.* A fit asks two sums over its rows: of the products of the regressors with themselves,
and with what is wanted. Rows are cut into stretches where a fold, or its guard, begins or ends. The sums over
each stretch are worked out once, and each fit adds up those that it may use.
"""

from itertools import accumulate, chain, pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.units import FloatArray

FOLDS = 5


class RidgeFit(NamedTuple):
    """A fit of all rows, and what fits without them say of those asked for."""

    weights: FloatArray  # (regressors, wanted)
    held_out: FloatArray  # (asked, wanted)


class _Stretch(NamedTuple):
    begin: int
    end: int
    square: FloatArray
    cross: FloatArray


def ridge_fit(
    rows: NDArray[np.int64],
    known: FloatArray,
    wanted: FloatArray,
    penalty: FloatArray,
    *,
    guard: int,
    asked: NDArray[np.bool_],
) -> RidgeFit:
    """Fit ``known @ weights`` to ``wanted``.

    Parameters
    ----------
    rows : ndarray of int, shape (rows,)
        The hour of each row, rising. [h]
    known : ndarray, shape (rows, regressors)
        Standardised. [1]
    wanted : ndarray, shape (rows, wanted)
        [K]
    penalty : ndarray, shape (regressors,)
        Added to the diagonal. [1]
    guard : int
        Hours on either side of a fold that its fit does not see. [h]
    asked : ndarray of bool, shape (rows,)
        The rows of which it is wanted what fits without them say.

    Returns
    -------
    RidgeFit

    Source
    ------
    A. E. Hoerl and R. W. Kennard, Technometrics 12:55, 1970, from memory.
    """
    folds = list(pairwise(accumulate(map(len, np.array_split(rows, FOLDS)), initial=0)))
    near = [_between(rows, rows[a] - guard, rows[b - 1] + guard) for a, b in folds]
    cuts = sorted({0, len(rows), *chain(*near)})
    stretches = [
        _Stretch(a, b, known[a:b].T @ known[a:b], known[a:b].T @ wanted[a:b]) for a, b in pairwise(cuts)
    ]
    told = list[FloatArray]()
    for (a, b), (begin, end) in zip(folds, near, strict=True):
        rest = [one for one in stretches if one.end <= begin or one.begin >= end]
        told.append(known[a:b][asked[a:b]] @ _weights(rest, penalty, wanted.shape[1]))
    return RidgeFit(_weights(stretches, penalty, wanted.shape[1]), np.concatenate(told))


def _between(rows: NDArray[np.int64], first: int, last: int) -> tuple[int, int]:
    """Places of the rows from the first hour to the last."""
    return int(np.searchsorted(rows, first)), int(np.searchsorted(rows, last, "right"))


def _weights(stretches: list[_Stretch], penalty: FloatArray, wanted: int) -> FloatArray:
    square, cross = np.diag(penalty), np.zeros((len(penalty), wanted))
    for one in stretches:
        square += one.square
        cross += one.cross
    return np.asarray(np.linalg.solve(square, cross))
