"""Ridge regression that also tells what it would have said of stretches of days it was not fitted on.

*Theory of operation.* A fit asks two sums over its rows: of the products of the regressors with themselves,
and with what is wanted. Fits share most of their rows. So the hours are cut where a fit begins or ceases to
use them; the sums over each stretch are worked out once, and taken off where a fit may not see them. To
standardise the regressors over a group's rows would ask for sums of its own; here it changes the penalty.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.units import FloatArray

FOLDS = 5
STILL = 1e-9  # K: what varies less does not vary
FLAT = 1e-6  # of what it varies over all rows: what varies less in a group does not vary there


class FitRows(NamedTuple):
    """What is fitted together."""

    rows: NDArray[np.int64]  # the hours that teach it, rising [h]
    wanted: FloatArray  # (hours, wanted), of other hours whatever [K]
    penalty: FloatArray  # (regressors,) on the diagonal, were they standardised over its rows [1]
    guard: int  # hours on either side of a fold that its fit does not see [h]


class RidgeFit(NamedTuple):
    """What a fit of all rows says of the last hour, and fits without them of the rows asked for."""

    now: FloatArray  # (wanted,)
    held_out: FloatArray  # (asked, wanted)


def ridge_fits(
    regressors: FloatArray, groups: Sequence[FitRows], asked: NDArray[np.bool_]
) -> Iterator[RidgeFit]:
    """Fit ``regressors @ weights`` to what each group wants.

    Parameters
    ----------
    regressors : ndarray, shape (hours, regressors)
        The first is 1. [any]
    groups : sequence of FitRows
    asked : ndarray of bool, shape (hours,)
        The hours of which it is wanted what fits without them say.

    Yields
    ------
    RidgeFit
        Of each group.

    Source
    ------
    A. E. Hoerl and R. W. Kennard, Technometrics 12:55, 1970, from memory.
    """
    uses = np.stack([_uses(group, len(regressors)) for group in groups])
    known, scale = _standardised(regressors, np.logical_or.reduce(uses[:, 0]))
    squares = np.split(_sums(np.concatenate(uses), known, known), len(groups))
    for group, mine, alike in zip(groups, uses, squares, strict=True):
        square = alike + _penalty(group, alike[0], scale)
        cross = _sums(mine, known, group.wanted)
        now = np.linalg.solve(square[0], known[-1]) @ cross[0]
        folds, apart = np.array_split(group.rows, FOLDS), np.linalg.solve(square[1:], cross[1:])
        held = [known[fold[asked[fold]]] @ weights for fold, weights in zip(folds, apart, strict=True)]
        yield RidgeFit(now, np.concatenate(held))


def _uses(group: FitRows, hours: int) -> NDArray[np.bool_]:
    """The hours that its fit may use, and those that each may use that sees no fold. (1 + folds, hours)"""
    rows, uses = group.rows, np.zeros((1 + FOLDS, hours), bool)
    uses[:, rows] = True
    for use, fold in zip(uses[1:], np.array_split(rows, FOLDS), strict=True):
        use[max(0, fold[0] - group.guard) : fold[-1] + group.guard + 1] = False
    return uses


def _standardised(regressors: FloatArray, taught: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
    """The regressors but the first by their means and spreads over these hours, and the spreads."""
    known = regressors[taught]
    centre = known.mean(axis=0)
    known -= centre
    scale = np.sqrt(np.einsum("ij,ij->j", known, known) / len(known))
    scale[scale < STILL] = 1.0
    centre[0] = 0.0
    return (regressors - centre) / scale, scale


def _sums(uses: NDArray[np.bool_], left: FloatArray, right: FloatArray) -> FloatArray:
    """Sum over the hours that each fit uses of left times right.

    (fits, hours), (hours, m), (hours, n) -> (fits, m, n)
    """
    shape = left.shape[1], right.shape[1]
    used, unused = np.zeros(shape), np.zeros((len(uses), *shape))
    edges = np.flatnonzero((uses[:, 1:] != uses[:, :-1]).any(axis=0)) + 1
    for a, b in pairwise([0, *edges, uses.shape[1]]):
        if uses[:, a].any():
            product = left[a:b].T @ right[a:b]
            used += product
            for fit in np.flatnonzero(~uses[:, a]):
                unused[fit] += product
    return used - unused


def _penalty(group: FitRows, square: FloatArray, scale: FloatArray) -> FloatArray:
    """Of a group, as if its regressors were standardised over its rows. (regressors, regressors)"""
    count = len(group.rows)
    centre = square[0] / count
    spread = np.sqrt(np.maximum(np.diag(square) / count - centre**2, 0.0))
    spread = np.where(spread < FLAT, 1.0 / scale, spread)
    own = group.penalty * spread**2
    own[0] = 0.0
    return np.asarray(np.diag(own) + group.penalty[0] * np.outer(centre, centre))
