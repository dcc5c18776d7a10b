"""What the outlook got wrong on past days, as whole paths; those from nights like the coming one count more.

*Theory of operation.* An error path is what was missed over all hours and all quantities at once, so hours
and quantities keep together. Paths are drawn that began at an hour of the day like now's. Each counts by
how near the lowest margin that was told then lies to the one that is told now. What such nights were
missed by in the mean moves the middle, as far as their number allows.

The dew point cannot pass the air. So its error is drawn as that of its distance from the air on a scale
that is a logarithm near saturation and straight in dry air: a dry day's error moves a damp night little.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.model.air.past import AIR, DEW_POINT, SURFACE, Hours
from curewatch.units import FloatArray

FEWEST = 24  # whole paths; fewer tell no band
LIKE_NIGHT = 0.5  # of the logarithm of the lowest margin; flat from 0.3 to 0.5 (simulated sheds)
SOFT = 2.0  # K added before the logarithm: margins below it count as about the same
DAMP, DRY = 1.0, 4.0  # K: below the first the scale is a logarithm, above the second nearly straight
DOUBT = 5.0  # nights at which what they were missed by counts half; flat from 5 to 10
NIGHT = 24  # hours over which the lowest margin is looked for
SMALL_SAMPLE = 1.5  # what a forecast's variance gains over its residuals' from few independent paths
SEASON = 0.12  # likewise from weather that moves on from what the past weeks were, after 72 h
_SPREADS: FloatArray = np.concatenate([[-60.0], np.arange(0.0, 60.0, 0.04)])


class ErrorPaths(NamedTuple):
    """Changes to lay on the middle."""

    mean: FloatArray  # (quantities, horizons) [K]
    residuals: FloatArray  # about it (members, quantities, horizons) [K]


def error_paths(
    hours: Hours, middle: FloatArray, errors: FloatArray, whole: NDArray[np.int64], members: int
) -> ErrorPaths | None:
    """Errors over the whole horizon, drawn by likeness; none where too few were whole.

    Parameters
    ----------
    hours : Hours
        What was measured.
    middle : ndarray, shape (quantities, horizons)
        Changes from now, as they are told. [K]
    errors : ndarray, shape (hours, quantities, horizons)
        What was missed at past hours, held out; of those near now (:func:`near_now`) at least. [K]
    whole : ndarray of int
        The hours of which it is known over all horizons.
    members : int
        Number of paths.

    Returns
    -------
    ErrorPaths or None
        Deterministic: the same for the same input.

    Source
    ------
    Weights by likeness as in the method of analogues (E. N. Lorenz, J. Atmos. Sci. 26:636, 1969, from
    memory); tried walk-forward on roof spaces and airports in tests/published/test_outlook_skill.py.
    """
    if len(whole) < FEWEST:
        return None
    chosen = near_now(hours, whole, members)
    counts = _likeness(hours, middle, errors, chosen)
    ladder = np.cumsum(counts) / counts.sum()
    missed = _on_the_scale(hours, errors, chosen)
    picked = missed[np.searchsorted(ladder, (np.arange(members) + 0.5) / members)]
    independent = len(whole) / 24  # paths that began on the same day are nearly one path
    nights = independent * counts.sum() ** 2 / np.square(counts).sum() / len(chosen)
    mean = picked.mean(axis=0)
    ahead = np.arange(1, errors.shape[2] + 1)
    wider = np.sqrt(1 + SMALL_SAMPLE / independent + SEASON * ahead / 72)
    drawn = nights / (nights + DOUBT) * (mean - missed.mean(axis=0)) + (picked - mean) * wider
    spread = hours.spread[-1] + middle[AIR] - middle[DEW_POINT]
    drawn[:, DEW_POINT] = drawn[:, AIR] + spread - from_scale(on_scale(spread) + drawn[:, DEW_POINT])
    moved = drawn.mean(axis=0)
    return ErrorPaths(moved, drawn - moved)


def near_now(hours: Hours, whole: NDArray[np.int64], members: int) -> NDArray[np.int64]:
    """Those of these hours that lie near now's hour of the day, from farther off where they are few."""
    away = hours_apart(hours.hour_of_day[whole], hours.hour_of_day[-1])
    near = (whole[away <= nearness] for nearness in (2.5, 4.5))
    return next((found for found in near if len(found) >= members // 2), whole)


def _on_the_scale(hours: Hours, errors: FloatArray, chosen: NDArray[np.int64]) -> FloatArray:
    """Chosen errors, with that of the dew point as its distance from the air came out on the scale."""
    missed = errors[chosen]
    came = hours.spread[chosen[:, None] + np.arange(1, errors.shape[2] + 1)]
    told = came - (missed[:, AIR] - missed[:, DEW_POINT])
    missed[:, DEW_POINT] = on_scale(came) - on_scale(told)
    return missed


def on_scale(spread: FloatArray) -> FloatArray:
    """Distances of air and dew point on a scale whose steps shrink near saturation. (...) [K] -> [1]"""
    return np.asarray(
        np.log1p(np.maximum(spread, 0.0) / DAMP) + np.minimum(spread, 0.0) / DAMP + spread / DRY
    )


def from_scale(scale: FloatArray) -> FloatArray:
    """Back from :func:`on_scale`, within 0.001 K up to 60 K. (...) [1] -> [K]"""
    return np.asarray(np.interp(scale, _SCALE, _SPREADS))


def hours_apart(hour_of_day: FloatArray, now: float) -> FloatArray:
    """How far hours of the day lie from one, either way round. (hours,) [h]"""
    return np.asarray(np.abs((hour_of_day - now + 12) % 24 - 12))


def _likeness(hours: Hours, middle: FloatArray, errors: FloatArray, chosen: NDArray[np.int64]) -> FloatArray:
    """How much each past night counts, by the lowest margin that was told then and is told now."""
    then = lowest_told(hours, errors)[chosen]
    surface = SURFACE if len(hours.own) > SURFACE else AIR
    now = hours.margin[-1] + min(0.0, (middle[surface] - middle[DEW_POINT])[:NIGHT].min())
    apart = np.log(np.maximum(then, 0.0) + SOFT) - np.log(max(now, 0.0) + SOFT)
    return np.asarray(np.exp(-0.5 * np.square(apart / LIKE_NIGHT)) + 1e-9)


def lowest_told(hours: Hours, errors: FloatArray) -> FloatArray:
    """The lowest margin that was told at each past hour for the night ahead. (hours,) [K]"""
    surface = SURFACE if len(hours.own) > SURFACE else AIR
    lowest = hours.margin.copy()
    for ahead in range(1, min(NIGHT, errors.shape[2]) + 1):
        missed = errors[:-ahead, surface, ahead - 1] - errors[:-ahead, DEW_POINT, ahead - 1]
        lowest[:-ahead] = np.minimum(lowest[:-ahead], hours.margin[ahead:] - missed)
    return lowest


_SCALE = on_scale(_SPREADS)
