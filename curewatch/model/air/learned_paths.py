"""The outlook that a shed's own recordings give: recent hours, the shape of the day, and own residuals.

*Theory of operation.* Everything happens on whole hours before now. For each horizon the change of a
quantity (air temperature, dew point, surface temperature) from now is a linear function of how it
came to now (its last 24 hours), how far it stands from its means of 3 and 10 days, the hour of the day
(three harmonics) and what stands beside it (dampness, the outside). The function is fitted by ridge
regression on the last weeks of the same shed.
What the fit got wrong on days that it was not fitted on, as whole paths laid on the forecast, makes the
members (:mod:`curewatch.model.air.error_paths`). So members keep hours together and temperature and
moisture together as they were seen together, and the band is as wide as the shed's own past says.
Law kept: nothing after now is looked at; walk-forward tests hold it.
"""

from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from curewatch.model.air.error_paths import error_paths, near_now
from curewatch.model.air.past import AIR, DEW_POINT, Hours, Past
from curewatch.model.air.ridge import FitRows, ridge_fits
from curewatch.model.air.weighing import Weights, weighed
from curewatch.physics import moist_air
from curewatch.units import DAY, HOUR, FloatArray

LONGEST_PAST = 60 * 24  # hours; 90 days did no better on a year of hourly weather, and cost more
SHORTEST_PAST = 4 * 24  # hours; below this the fit is worse than staying as it is
DEPTH = 24  # hours back that count as "how it came to now"
MEANS = (72, 240)  # hours; how far a quantity stands from its own means tells where it goes after a day
WIDEST_GAP = 3 * HOUR  # bridged by a straight line
HARMONICS = (1, 2, 3)
# Ridge penalties on standardised regressors. Flat: from 100 to 1000 the error changes by 2 %.
SHAPE_PENALTY, REST_PENALTY, DRIFT_PENALTY = 50.0, 300.0, 400.0
SATURATED = 0.3  # K; nearer to saturation than sensors tell apart
DOUBT_PER_DAY_AHEAD = 6.0  # days of past at which fit and plain guess weigh the same one day ahead
FEWEST_ROWS = 36  # hours to fit from, and no fewer than the horizon and a day
# A horizon longer than the past can teach repeats the day before, this much less certain. ASSUMED.
DAILY_GROWTH = 1.1
GROUP_ENDS = (6, 24, 72)  # hours: horizons fitted together, since nearer ones have more past to learn from


class PathChanges(NamedTuple):
    """Changes from now, hour by hour."""

    middle: FloatArray  # (quantities, horizons) [K]
    residuals: FloatArray  # (members, quantities, horizons) [K]
    weights: Weights | None = None  # of a forecast, if one was given


def on_whole_hours(past: Past, at: float, with_surface: bool) -> Hours:
    """The last weeks on the hours that end now, gaps up to three hours bridged. ``at`` [s]."""
    count = int(min(LONGEST_PAST, max(0.0, (at - past.time[0]) // HOUR))) if len(past.time) else 0
    when: FloatArray = np.linspace(at - HOUR * count, at, count + 1)
    sampled = [bridged(past.time, series, when) for series in past[1:]]
    air, vapour, surface, outside, outside_vapour = sampled
    own = [air, dew_point_of(vapour)] + ([surface] if with_surface else [])
    beside = [outside, dew_point_of(outside_vapour)]
    useful = [
        series for series in beside if np.isfinite(series[-4:]).all() and np.isfinite(series).mean() > 0.8
    ]
    stacked = np.stack(useful) if useful else np.empty((0, count + 1))
    return Hours(np.asarray(when % DAY / HOUR), np.stack(own), stacked)


def bridged(time: FloatArray, series: FloatArray, when: FloatArray) -> FloatArray:
    """A series at other moments, by straight lines over gaps up to three hours; ``nan`` elsewhere.

    (n,), (n,), (m,) -> (m,) [s, any, s]
    """
    known = np.isfinite(series)
    if known.sum() < 2:
        return np.full(len(when), np.nan)
    stamps, values = time[known], series[known]
    after = np.clip(np.searchsorted(stamps, when), 1, len(stamps) - 1)
    gap = stamps[after] - stamps[after - 1]
    overhang = np.maximum(when - stamps[-1], stamps[0] - when)
    found: FloatArray = np.interp(when, stamps, values)
    found[(gap > WIDEST_GAP) | (overhang > HOUR)] = np.nan
    return found


def dew_point_of(vapour: FloatArray) -> FloatArray:
    """Dew points of recorded vapour pressures; ``nan`` where nothing, or nothing possible, was recorded.

    (n,) [Pa] -> (n,) [K]
    """
    dew = np.full(len(vapour), np.nan)
    usable = vapour > float(moist_air.saturation_pressure(200.0))
    dew[usable] = moist_air.dew_point(vapour[usable])
    return dew


def reach(hours: Hours) -> int:
    """For how many hours back every own quantity is known without a break, at most :data:`DEPTH`."""
    broken = np.flatnonzero(~np.isfinite(hours.own).all(axis=0))
    whole = hours.own.shape[1] - (int(broken[-1]) + 1 if len(broken) else 0)
    return min(DEPTH, int(whole) - 1)


def learned_paths(
    hours: Hours, horizon: int, members: int, told: FloatArray | None = None
) -> PathChanges | None:
    """Changes and residual paths for 1 … ``horizon`` hours, or None if the past cannot teach them.

    ``told`` is what forecasts foretold at each hour, (hours, 2, horizon + 1) [K]; see
    :func:`curewatch.model.air.forecast.foretold`.
    """
    depth = reach(hours)
    if depth < 3 or np.isfinite(hours.own).all(axis=0).sum() < SHORTEST_PAST:
        return None
    regressors = _regressors(hours, depth)
    known = np.asarray(np.isfinite(regressors).all(axis=1))
    groups = _teachable(hours.own, known, horizon)
    taught = groups[-1].last if groups else 0
    if taught < 24 and taught < horizon:
        return None
    whole = _whole(hours.own, known, 0, taught)
    asked = np.full(len(regressors), told is not None)  # a forecast is weighed by all of them
    asked[near_now(hours, whole, members)] = True  # else no more is drawn from
    changes, missed = _fitted(hours, regressors, groups, asked)
    if told is None:
        return _drawn(hours, (changes, missed, whole), horizon, members)
    heeded = weighed(hours, changes, missed, told[:, :, : taught + 1])
    heard = np.flatnonzero(np.isfinite(heeded.errors).all(axis=(1, 2)))
    with_it = _drawn(hours, (heeded.middle, heeded.errors, heard), horizon, members)
    if with_it is not None:
        return with_it._replace(weights=heeded.weights)
    without, nothing = _drawn(hours, (changes, missed, whole), horizon, members), np.zeros_like(changes)
    return without and without._replace(weights=heeded.weights._replace(share=nothing))


def _drawn(
    hours: Hours, told: tuple[FloatArray, FloatArray, NDArray[np.int64]], horizon: int, members: int
) -> PathChanges | None:
    """With errors of the past on it, as far as the past reaches and on from there."""
    found = error_paths(hours, *told, members)
    return found and _extended(told[0] + found.mean, found.residuals, horizon)


def _groups(horizon: int) -> list[tuple[int, int]]:
    ends = [end for end in GROUP_ENDS if end < horizon] + [horizon]
    return list(zip([0, *ends[:-1]], ends, strict=True))


def _regressors(hours: Hours, depth: int) -> FloatArray:
    """One row an hour: constant, hour of the day, how each quantity came here, what stands beside it."""
    count = hours.own.shape[1]
    angle = 2 * np.pi * hours.hour_of_day / 24
    columns = [np.ones(count)]
    columns += [wave(k * angle) for k in HARMONICS for wave in (np.cos, np.sin)]
    air = hours.own[AIR]
    columns += [series[:, None] - _last_of(series, depth + 1)[:, 1:] for series in hours.own]
    columns += [series - _mean_of_last(series, span) for series in hours.own for span in MEANS]
    columns += [air - other for other in hours.own[1:]]
    columns.append(air - _last_of(air, depth).mean(axis=1))
    for series, own in zip(hours.beside, hours.own, strict=False):
        columns += [series - own, series - _last_of(series, 4)[:, 3]]
    return np.column_stack([*columns, *_damp(hours, depth)])


def _damp(hours: Hours, depth: int) -> list[FloatArray]:
    """Logarithms of how far air and surface stand from saturation, and of the nearest of the last hours.

    A dew point cannot pass the air, so near saturation the changes bend: a straight line needs a logarithm.
    """
    spread = hours.spread
    lowest = _last_of(spread, depth).min(axis=1)
    return [np.log(np.maximum(each, SATURATED)) for each in (spread, lowest, hours.margin)]


def _mean_of_last(series: FloatArray, span: int) -> FloatArray:
    """Mean of what is known of the last hours, of fewer where fewer are recorded."""
    known = np.isfinite(series)
    total, count = np.cumsum(np.where(known, series, 0.0)), np.cumsum(known)
    for sums in (total, count):
        sums[span:] = sums[span:] - sums[:-span].copy()
    return np.asarray(total / np.maximum(count, 1))


def _last_of(series: FloatArray, count: int) -> FloatArray:
    """So many last values at each hour, the newest first; ``nan`` before the first. (hours, count)"""
    padded = np.concatenate([np.full(count - 1, np.nan), series])
    return np.asarray(sliding_window_view(padded, count)[:, ::-1])


class _Group(NamedTuple):
    """Horizons that are fitted together."""

    first: int  # hours ahead, left out
    last: int  # hours ahead
    rows: NDArray[np.int64]  # hours that teach them


def _teachable(own: FloatArray, told: NDArray[np.bool_], horizon: int) -> list[_Group]:
    """The groups of horizons, as far as the past has hours enough to teach them."""
    found = []
    for first, last in _groups(horizon):
        rows = _whole(own, told, first, last)
        if len(rows) < max(FEWEST_ROWS, last + 24 if last > 24 else 0):
            break
        found.append(_Group(first, last, rows))
    return found


def _fitted(
    hours: Hours, regressors: FloatArray, groups: list[_Group], asked: NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """Forecast now (quantities, horizons), and errors held out of the hours asked, else ``nan``."""
    own, taught = hours.own, groups[-1].last
    middle, errors = np.empty((len(own), taught)), np.full((len(regressors), len(own), taught), np.nan)
    changes = [_changes(own, first, last) for first, last, _ in groups]
    fit_rows = [
        FitRows(
            rows,
            wanted.reshape(len(wanted), -1),
            _penalty(regressors.shape[1], drifting=last > 24),
            min(last, len(rows) // 12),
        )
        for (_, last, rows), wanted in zip(groups, changes, strict=True)
    ]
    fits = ridge_fits(regressors, fit_rows, asked)
    for (first, last, rows), wanted, fit in zip(groups, changes, fits, strict=True):
        mine, trust = rows[asked[rows]], _trust(len(rows), first, last)
        told = trust * np.concatenate([fit.held_out, fit.now[None]]).reshape(-1, *wanted.shape[1:])
        told += (1 - trust) * _plain(own, np.append(mine, len(regressors) - 1), first, last)
        errors[mine, :, first:last] = wanted[mine] - told[:-1]
        middle[:, first:last] = told[-1]
    return middle, errors


def _whole(own: FloatArray, told: NDArray[np.bool_], first: int, last: int) -> NDArray[np.int64]:
    """Hours whose regressors are ``told``, and all that came ``first + 1 … last`` hours later."""
    known = np.asarray(np.isfinite(own).all(axis=0))
    missing = np.concatenate([[0], np.cumsum(~known)])
    rows = np.flatnonzero((told & known)[: max(0, len(known) - last)])
    return np.asarray(rows[missing[rows + last + 1] == missing[rows + first + 1]])


def _trust(rows: int, first: int, last: int) -> FloatArray:
    """Weight of the fit against the plain guess, by horizon: a few days teach the next hours only."""
    days = rows / 24
    return np.asarray(days / (days + DOUBT_PER_DAY_AHEAD * np.arange(first + 1, last + 1) / 24))


def _plain(own: FloatArray, rows: NDArray[np.int64], first: int, last: int) -> FloatArray:
    """The guess that needs no fit: temperatures as a day before, the dew point as now."""
    guess = np.zeros((len(rows), len(own), last - first))
    back = rows[:, None] - -np.arange(first + 1, last + 1) % 24
    for quantity, series in enumerate(own):
        if quantity != DEW_POINT:
            guess[:, quantity] = np.where(back < 0, np.nan, series[back]) - series[rows, None]
    guess[np.isnan(guess)] = 0.0  # as now, where the day before is not known
    return guess


def _changes(own: FloatArray, first: int, last: int) -> FloatArray:
    """Change from each hour to ``first + 1 … last`` hours later: (hours, quantities, horizons)."""
    changes, hours = np.full((own.shape[1], len(own), last - first), np.nan), own.shape[1] - last
    for quantity, series in enumerate(own):
        later = sliding_window_view(series[first + 1 :], last - first)
        np.subtract(later, series[:hours, None], out=changes[:hours, quantity])
    return changes


def _penalty(columns: int, *, drifting: bool) -> FloatArray:
    penalty = np.full(columns, REST_PENALTY)
    penalty[1 : 1 + 2 * len(HARMONICS)] = SHAPE_PENALTY
    penalty[0] = DRIFT_PENALTY if drifting else 1e-3
    return penalty


def _extended(middle: FloatArray, residuals: FloatArray, horizon: int) -> PathChanges:
    """Hours beyond what the past can teach repeat the day before, with a wider band."""
    while middle.shape[1] < horizon:
        more = min(24, horizon - middle.shape[1])
        start = middle.shape[1] - 24
        middle = np.concatenate([middle, middle[:, start : start + more]], axis=1)
        day = DAILY_GROWTH * residuals[:, :, start : start + more]
        residuals = np.concatenate([residuals, day], axis=2)
    return PathChanges(middle, residuals)
