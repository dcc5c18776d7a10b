"""The outlook that a shed's own recordings give: recent hours, the shape of the day, and own residuals.

*Theory of operation.* Everything happens on whole hours before now. For each horizon the change of a
quantity (air temperature, dew point, surface temperature) from now is a linear function of how it
came to now (its last 24 hours), of the hour of the day (three harmonics) and of what stands beside it
(dampness, the outside). The function is fitted by ridge regression on the last weeks of the same shed.
What the fit got wrong on days that it was not fitted on are the residuals: *whole paths* of them,
over all hours and all quantities at once, laid on the forecast, are the members. So members keep hours
together and temperature and moisture together as they were seen together, and the band is as wide as
the shed's own past says. Law kept: nothing after now is looked at; walk-forward tests hold it.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.model.air.past import Past
from curewatch.physics import moist_air
from curewatch.units import DAY, HOUR, FloatArray

LONGEST_PAST = 60 * 24  # hours; 90 days did no better on a year of hourly weather, and cost more
SHORTEST_PAST = 4 * 24  # hours; below this the fit is worse than staying as it is
DEPTH = 24  # hours back that count as "how it came to now"
WIDEST_GAP = 3 * HOUR  # bridged by a straight line
HARMONICS = (1, 2, 3)
# Ridge penalties on standardised regressors. Flat: from 100 to 1000 the error changes by 2 %.
SHAPE_PENALTY, REST_PENALTY, DRIFT_PENALTY = 50.0, 300.0, 400.0
FOLDS = 5
DOUBT_PER_DAY_AHEAD = 6.0  # days of past at which fit and plain guess weigh the same one day ahead
FEWEST_ROWS = 36  # hours to fit from, and no fewer than the horizon and a day
SMALL_SAMPLE = 1.5  # what a forecast's variance gains over its residuals' from few independent paths
SEASON = 0.12  # likewise from weather that moves on from what the past weeks were, after 72 h
DEW_POINT = 1  # place of the dew point among the own quantities
# A horizon longer than the past can teach repeats the day before, this much less certain. ASSUMED.
DAILY_GROWTH = 1.1
GROUP_ENDS = (6, 24, 72)  # hours: horizons fitted together, since nearer ones have more past to learn from


class Hours(NamedTuple):
    """A past on whole hours before now: (quantities, hours), newest last; ``nan`` where unknown."""

    hour_of_day: FloatArray  # UTC (hours,)
    own: FloatArray  # what is forecast: air, dew point, perhaps surface [K]
    beside: FloatArray  # what only helps: outside air and dew point [K]


class PathChanges(NamedTuple):
    """Changes from now, hour by hour."""

    middle: FloatArray  # (quantities, horizons) [K]
    residuals: FloatArray  # (members, quantities, horizons) [K]


def on_whole_hours(past: Past, at: float, with_surface: bool) -> Hours:
    """The last weeks on the hours that end now, gaps up to three hours bridged."""
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
    """A series at other moments, by straight lines over gaps up to three hours; ``nan`` elsewhere."""
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
    """Dew points of recorded vapour pressures; ``nan`` where nothing, or nothing possible, was recorded."""
    dew = np.full(len(vapour), np.nan)
    usable = vapour > float(moist_air.saturation_pressure(200.0))
    dew[usable] = moist_air.dew_point(vapour[usable])
    return dew


def reach(hours: Hours) -> int:
    """For how many hours back every own quantity is known without a break, at most :data:`DEPTH`."""
    broken = np.flatnonzero(~np.isfinite(hours.own).all(axis=0))
    whole = hours.own.shape[1] - (int(broken[-1]) + 1 if len(broken) else 0)
    return min(DEPTH, int(whole) - 1)


def learned_paths(hours: Hours, horizon: int, members: int) -> PathChanges | None:
    """Forecast and residual paths for 1 … ``horizon`` hours, or None if the past cannot teach them."""
    depth = reach(hours)
    if depth < 3 or np.isfinite(hours.own).all(axis=0).sum() < SHORTEST_PAST:
        return None
    regressors = _regressors(hours, depth)
    quantities = len(hours.own)
    middle, errors, taught = [], [], 0
    for first, last in _groups(horizon):
        fitted = _fitted(hours, regressors, first, last)
        if fitted is None:
            break
        middle.append(fitted[0])
        errors.append(fitted[1])
        taught = last
    if taught < 24 and taught < horizon:
        return None
    residuals = _whole_paths(hours, np.concatenate(errors, axis=2), members)
    if residuals is None:
        return None
    return _extended(np.concatenate(middle, axis=1).reshape(quantities, taught), residuals, horizon)


def _groups(horizon: int) -> list[tuple[int, int]]:
    ends = [end for end in GROUP_ENDS if end < horizon] + [horizon]
    return list(zip([0, *ends[:-1]], ends, strict=True))


def _regressors(hours: Hours, depth: int) -> FloatArray:
    """One row an hour: constant, hour of the day, how each quantity came here, what stands beside it."""
    count = hours.own.shape[1]
    angle = 2 * np.pi * hours.hour_of_day / 24
    columns = [np.ones(count)]
    columns += [wave(k * angle) for k in HARMONICS for wave in (np.cos, np.sin)]
    air = hours.own[0]
    for series in hours.own:
        columns += [series - _earlier(series, lag) for lag in range(1, depth + 1)]
    columns += [air - other for other in hours.own[1:]]
    columns.append(air - np.mean([_earlier(air, lag) for lag in range(depth)], axis=0))
    for series, own in zip(hours.beside, hours.own, strict=False):
        columns += [series - own, series - _earlier(series, 3)]
    return np.stack(columns, axis=1)


def _earlier(series: FloatArray, lag: int) -> FloatArray:
    moved = np.full(len(series), np.nan)
    moved[lag:] = series[: len(series) - lag]
    return moved


def _fitted(
    hours: Hours, regressors: FloatArray, first: int, last: int
) -> tuple[FloatArray, FloatArray] | None:
    """Forecast now (quantities, horizons) and held-out errors (hours, quantities, horizons) of one group."""
    changes = _changes(hours.own, first, last)
    rows = np.flatnonzero(np.isfinite(regressors).all(axis=1) & np.isfinite(changes).all(axis=(1, 2)))
    if len(rows) < max(FEWEST_ROWS, last + 24 if last > 24 else 0):
        return None
    shape = changes.shape[1:]
    trust, plain = _trust(len(rows), first, last), _plain(hours.own, first, last)
    known, wanted = regressors[rows], changes[rows].reshape(len(rows), -1)
    centre, scale = known.mean(axis=0), known.std(axis=0)
    centre[0], scale[0] = 0.0, 1.0
    scale[scale < 1e-9] = 1.0
    known = (known - centre) / scale
    penalty = _penalty(known.shape[1], drifting=last > 24)
    now = ((regressors[-1] - centre) / scale) @ _ridge(known, wanted, penalty)
    errors = np.full((len(regressors), *shape), np.nan)
    fitted = _held_out(rows, known, wanted, penalty, guard=min(last, len(rows) // 12)).reshape(-1, *shape)
    errors[rows] = changes[rows] - (trust * fitted + (1 - trust) * plain[rows])
    return trust * now.reshape(shape) + (1 - trust) * plain[-1], errors


def _trust(rows: int, first: int, last: int) -> FloatArray:
    """Weight of the fit against the plain guess, by horizon: a few days teach the next hours only."""
    days = rows / 24
    return np.asarray(days / (days + DOUBT_PER_DAY_AHEAD * np.arange(first + 1, last + 1) / 24))


def _plain(own: FloatArray, first: int, last: int) -> FloatArray:
    """The guess that needs no fit: temperatures as a day before, the dew point as now."""
    quantities, count = own.shape
    guess = np.zeros((count, quantities, last - first))
    for column, ahead in enumerate(range(first + 1, last + 1)):
        back = -ahead % 24
        for quantity in range(quantities):
            if quantity != DEW_POINT:
                guess[:, quantity, column] = _earlier(own[quantity], back) - own[quantity]
    return np.nan_to_num(guess)  # as now, where the day before is not known


def _changes(own: FloatArray, first: int, last: int) -> FloatArray:
    """How far each quantity had moved ``first + 1 … last`` hours later: (hours, quantities, horizons)."""
    quantities, count = own.shape
    changes = np.full((count, quantities, last - first), np.nan)
    for column, ahead in enumerate(range(first + 1, last + 1)):
        if ahead < count:
            changes[: count - ahead, :, column] = (own[:, ahead:] - own[:, : count - ahead]).T
    return changes


def _penalty(columns: int, *, drifting: bool) -> FloatArray:
    penalty = np.full(columns, REST_PENALTY)
    penalty[1 : 1 + 2 * len(HARMONICS)] = SHAPE_PENALTY
    penalty[0] = DRIFT_PENALTY if drifting else 1e-3
    return penalty


def _ridge(known: FloatArray, wanted: FloatArray, penalty: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.solve(known.T @ known + np.diag(penalty), known.T @ wanted))


def _held_out(
    rows: NDArray[np.int64], known: FloatArray, wanted: FloatArray, penalty: FloatArray, guard: int
) -> FloatArray:
    """What is told of stretches of days that were not fitted, nor their neighbours by ``guard`` hours."""
    square, cross = known.T @ known, known.T @ wanted
    told = np.empty(wanted.shape)
    for fold in np.array_split(np.arange(len(rows)), FOLDS):
        near = (rows >= rows[fold[0]] - guard) & (rows <= rows[fold[-1]] + guard)
        weights = np.linalg.solve(
            square - known[near].T @ known[near] + np.diag(penalty), cross - known[near].T @ wanted[near]
        )
        told[fold] = known[fold] @ weights
    return told


def _whole_paths(hours: Hours, errors: FloatArray, members: int) -> FloatArray | None:
    """Errors over the whole horizon that began at an hour of the day like now's, spread over the past."""
    whole = np.flatnonzero(np.isfinite(errors).all(axis=(1, 2)))
    if len(whole) < 24:
        return None
    away = np.abs((hours.hour_of_day[whole] - hours.hour_of_day[-1] + 12) % 24 - 12)
    for nearness in (2.5, 4.5, 12.1):
        chosen = whole[away <= nearness]
        if len(chosen) >= members // 2:
            break
    picked = chosen[np.round(np.linspace(0, len(chosen) - 1, members)).astype(int)]
    residuals = errors[picked] - errors[picked].mean(axis=0)
    independent = len(whole) / 24  # paths that began on the same day are nearly one path
    ahead = np.arange(1, residuals.shape[2] + 1)
    return np.asarray(residuals * np.sqrt(1 + SMALL_SAMPLE / independent + SEASON * ahead / 72))


def _extended(middle: FloatArray, residuals: FloatArray, horizon: int) -> PathChanges:
    """Hours beyond what the past can teach repeat the day before, with a wider band."""
    while middle.shape[1] < horizon:
        more = min(24, horizon - middle.shape[1])
        start = middle.shape[1] - 24
        middle = np.concatenate([middle, middle[:, start : start + more]], axis=1)
        day = DAILY_GROWTH * residuals[:, :, start : start + more]
        residuals = np.concatenate([residuals, day], axis=2)
    return PathChanges(middle, residuals)
