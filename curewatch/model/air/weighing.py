"""How much a forecast is heeded, by what forecasts like it were worth to this shed.

*Theory of operation.* The shed's own past comes first (:mod:`curewatch.model.air.learned_paths`). What it got
wrong on days that it was not fitted on is then explained by what the kept forecasts told: the change
foretold from now to then, its mean on the way, and how far a forecast lay from what was measured when it
was used. That is a ridge regression for each hour ahead, fitted on past hours and tried on stretches that
were left out. A quantity at an hour heeds the forecast only if that made the errors on those stretches
smaller, by more than chance. So with too few forecasts kept, or useless ones, the weight is 0.

A constant error of a forecast falls out, since only changes from now count, and since what it lay off the
sensors when it was used is one of the regressors.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.model.air.past import Hours
from curewatch.units import FloatArray

FEWEST_ROWS = 240  # past hours with a like forecast; from 5 to 7 days it made some hours worse (measured)
PENALTY, CONSTANT_PENALTY = 60.0, 20.0  # on standardised regressors; flat from 30 to 100 (measured)
FOLDS = 5
BLOCK = 48  # hours whose gains count as one: weather that has moved on
ODDS = 1.0  # standard errors by which the gain must lie above nothing
LEAST_SPREAD = 0.3  # K
FAR_OFF = 5.0  # standard deviations from what it lay off the sensors before: another place, or broken


class Weights(NamedTuple):
    """What of a forecast counts."""

    share: FloatArray  # (quantities, horizons), 0 where the shed's own past speaks alone [1]
    rows: int  # past hours with a like forecast that taught it
    far_off: bool  # it lies further from the sensors than ever before


class Weighed(NamedTuple):
    """The outlook with a forecast in it."""

    middle: FloatArray  # (quantities, horizons) [K]
    errors: FloatArray  # (hours, quantities, horizons), held out; nan where no forecast was kept [K]
    weights: Weights


def weighed(seen: Hours, middle: FloatArray, errors: FloatArray, told: FloatArray) -> Weighed:
    """The shed's own outlook and its held-out errors, with a forecast heeded as far as it helped before.

    Parameters
    ----------
    seen : Hours
        What was measured; where nothing stands beside, the inside stands for it.
    middle : ndarray, shape (quantities, horizons)
        Changes from now, by the shed's own past. [K]
    errors : ndarray, shape (hours, quantities, horizons)
        What that got wrong at past hours, held out. [K]
    told : ndarray, shape (hours, 2, horizons + 1)
        As :func:`curewatch.model.air.forecast.foretold` gives it. [K]

    Returns
    -------
    Weighed

    Source
    ------
    Stacked regression (Wolpert 1992; Breiman 1996, from memory); tried on real roof spaces and airports in
    tests/published/test_forecast_never_worse.py.
    """
    off = _off(seen, told[:, :, 0])
    rows = int(np.isfinite(off[:-1]).all(axis=1).sum())
    share = np.zeros(middle.shape)
    if rows < FEWEST_ROWS or not np.isfinite(off[-1]).all():
        return Weighed(middle, errors, Weights(share, rows, far_off=False))
    spread = np.maximum(np.nanstd(off[:-1], axis=0), LEAST_SPREAD)
    if np.any(np.abs(off[-1] - np.nanmean(off[:-1], axis=0)) > FAR_OFF * spread):
        return Weighed(middle, errors, Weights(share, rows, far_off=True))
    best, left = middle.copy(), errors.copy()
    guess, shape = _guess(seen.own, middle, errors), np.concatenate([_shape(seen.hour_of_day), off], axis=1)
    for place in range(middle.shape[1]):
        found = _corrected(
            _regressors(told, shape, guess[:, :, place], place + 1), errors[:, :, place], place + 1
        )
        if found is not None:
            heeded = found.share > 0
            share[:, place] = found.share
            best[:, place] += found.share * found.now
            left[:, heeded, place] = found.left[:, heeded]
    return Weighed(best, left, Weights(share, rows, far_off=False))


def _guess(own: FloatArray, middle: FloatArray, errors: FloatArray) -> FloatArray:
    """What the shed's own past said at each hour, now last: (hours, quantities, horizons)."""
    guess = np.full(errors.shape, np.nan)
    for ahead in range(1, errors.shape[2] + 1):
        guess[:-ahead, :, ahead - 1] = (own[:, ahead:] - own[:, :-ahead]).T - errors[:-ahead, :, ahead - 1]
    guess[-1] = middle
    return guess


def _off(seen: Hours, now: FloatArray) -> FloatArray:
    """How far each forecast lay from what was measured when it counted. (hours, 2 or 3)"""
    inside = seen.own[:2].T
    if len(seen.beside) != 2:
        return np.asarray(now - inside)
    return np.concatenate([now - seen.beside.T, now[:, :1] - inside[:, :1]], axis=1)


def _shape(hour_of_day: FloatArray) -> FloatArray:
    """A constant and the hour of the day: what the sun adds to a change outside depends on it."""
    angle = 2 * np.pi * hour_of_day / 24
    return np.stack(
        [np.ones_like(angle), *(wave(k * angle) for k in (1, 2) for wave in (np.cos, np.sin))], axis=1
    )


def _regressors(told: FloatArray, shape: FloatArray, guess: FloatArray, ahead: int) -> FloatArray:
    """One row an hour: constant and hour, how far the forecast lay off, changes foretold, the own guess."""
    now = told[:, :, 0]
    changes = told[:, :, ahead] - now
    means = told[:, :, 1 : ahead + 1].mean(axis=2) - now
    return np.concatenate([shape, changes, means, guess], axis=1)


class _Correction(NamedTuple):
    now: FloatArray  # (quantities,) what the forecast adds, before its share
    share: FloatArray  # (quantities,)
    left: FloatArray  # (hours, quantities) errors with it, nan where no forecast was kept


def _corrected(regressors: FloatArray, errors: FloatArray, ahead: int) -> _Correction | None:
    """The errors of one horizon explained by the forecast; none where too little is known."""
    rows = np.flatnonzero(np.isfinite(regressors).all(axis=1) & np.isfinite(errors).all(axis=1))
    if len(rows) < FEWEST_ROWS or not np.isfinite(regressors[-1]).all():
        return None
    known, wanted = regressors[rows], errors[rows]
    centre, scale = known.mean(axis=0), known.std(axis=0)
    centre[0], scale[0] = 0.0, 1.0
    scale[scale < 1e-6] = 1.0
    known = (known - centre) / scale
    penalty = np.diag([CONSTANT_PENALTY, *[PENALTY] * (known.shape[1] - 1)])
    square, cross = known.T @ known + penalty, known.T @ wanted
    now = ((regressors[-1] - centre) / scale) @ np.linalg.solve(square, cross)
    held = _held_out(rows, known, wanted, (square, cross), ahead)
    share = _share(wanted, held)
    left = np.full(errors.shape, np.nan)
    left[rows] = wanted - share * held
    return _Correction(now, share, left)


def _held_out(
    rows: NDArray[np.int64],
    known: FloatArray,
    wanted: FloatArray,
    whole: tuple[FloatArray, FloatArray],
    guard: int,
) -> FloatArray:
    """What is told of stretches that were not fitted, nor their neighbours by ``guard`` hours."""
    square, cross = whole
    told = np.empty(wanted.shape)
    for fold in np.array_split(np.arange(len(rows)), FOLDS):
        begin, end = np.searchsorted(rows, (rows[fold[0]] - guard, rows[fold[-1]] + guard + 1))
        near = slice(int(begin), int(end))
        there = known[near]
        told[fold] = known[fold] @ np.linalg.solve(square - there.T @ there, cross - there.T @ wanted[near])
    return told


def _share(wanted: FloatArray, held: FloatArray) -> FloatArray:
    """The best multiple of the correction, 0 to 1; 0 where its gain may be chance. (quantities,)"""
    gain = np.square(wanted) - np.square(wanted - held)
    edges = np.linspace(0, len(gain), max(FOLDS, len(gain) // BLOCK) + 1).astype(np.int64)
    parts = np.add.reduceat(gain, edges[:-1], axis=0) / np.diff(edges)[:, None]
    sure = parts.mean(axis=0) > ODDS * parts.std(axis=0, ddof=1) / np.sqrt(len(parts))
    best = (wanted * held).sum(axis=0) / np.maximum(np.square(held).sum(axis=0), 1e-9)
    return np.where(sure, np.clip(best, 0.0, 1.0), 0.0)
