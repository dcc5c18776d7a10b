"""What a path gathers on its way: how much between two moments, and when it has gathered enough.

Blush exposure and the equivalent age of a film are both such sums. A sum never falls, because the
rate is never below zero; so each amount is reached once.
"""

import numpy as np

from curewatch.units import FloatArray

FEW = 4  # levels a member: below it all members at once are faster, above it one member after the other


def running(time: FloatArray, rate: FloatArray) -> FloatArray:
    """The sum from the first moment on, straight between the points: (..., n), beginning with 0.

    [s, any] -> [any times s]
    """
    found = np.zeros(rate.shape)
    pieces = rate[..., 1:] + rate[..., :-1]
    pieces *= 0.5 * np.diff(time)
    np.cumsum(pieces, axis=-1, out=found[..., 1:])
    return found


def gathered_at(time: FloatArray, total: FloatArray, moments: FloatArray) -> FloatArray:
    """The sum at given moments; the whole sum where a moment is nan (never). (members,) or scalar.

    [s, any, s] -> [of the sum]

    Parameters
    ----------
    time : (n,)
    total : (n,) or (members, n)
    moments : scalar or (members,)
    """
    rows = np.atleast_2d(total)
    at = np.broadcast_to(np.nan_to_num(moments, nan=float(time[-1])), rows.shape[:1])
    found = np.array([np.interp(when, time, row) for when, row in zip(at, rows, strict=True)])
    return found if total.ndim > 1 else found[0]


def filled(time: FloatArray, total: FloatArray, levels: FloatArray) -> FloatArray:
    """When each member's sum reaches a level; nan if it never does.

    [s, any, of the sum] -> [s]

    Parameters
    ----------
    time : (n,)
    total : (members, n)
    levels : (..., members)

    Returns
    -------
    (..., members)
    """
    if levels.size <= FEW * len(total):
        found = [_once(time, total, each) for each in levels.reshape(-1, len(total))]
        return np.reshape(found, levels.shape)
    columns = [
        np.interp(levels[..., member], total[member], time, right=np.nan) for member in range(len(total))
    ]
    return np.stack(columns, axis=-1)


def _once(time: FloatArray, total: FloatArray, level: FloatArray) -> FloatArray:
    """One level of each member, all at once; number for number what ``np.interp`` gives. (members,)"""
    member, place = np.arange(len(total)), (total <= level[:, None]).sum(axis=1) - 1
    before = np.clip(place, 0, len(time) - 2)
    low = total[member, before]
    rise = total[member, before + 1] - low
    slope = (time[before + 1] - time[before]) / np.where(rise > 0, rise, 1.0)
    found = np.where(level == low, time[before], slope * (level - low) + time[before])
    found = np.where(place < 0, time[0], found)
    last = total[:, -1]
    return np.asarray(np.where(level < last, found, np.where(level == last, time[-1], np.nan)))
