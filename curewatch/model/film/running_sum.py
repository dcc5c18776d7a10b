"""What a path gathers on its way: how much between two moments, and when it has gathered enough.

Blush exposure and the equivalent age of a film are both such sums. A sum never falls, because the
rate is never below zero; so each amount is reached once.
"""

import numpy as np

from curewatch.units import FloatArray


def running(time: FloatArray, rate: FloatArray) -> FloatArray:
    """The sum from the first moment on, straight between the points: (..., n), beginning with 0."""
    found = np.zeros(rate.shape)
    np.cumsum(0.5 * np.diff(time) * (rate[..., 1:] + rate[..., :-1]), axis=-1, out=found[..., 1:])
    return found


def gathered_at(time: FloatArray, total: FloatArray, moments: FloatArray) -> FloatArray:
    """The sum at given moments; the whole sum where a moment is nan (never). (members,) or scalar.

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

    Parameters
    ----------
    time : (n,)
    total : (members, n)
    levels : (..., members)

    Returns
    -------
    (..., members)
    """
    columns = [
        np.interp(levels[..., member], total[member], time, right=np.nan) for member in range(len(total))
    ]
    return np.stack(columns, axis=-1)
