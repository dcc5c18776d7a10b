"""The glass transition as conversion rises, and the conversion at which cure turns to glass.

The two directions stand side by side, from one equation; a test holds the round trip.
"""

import numpy as np
from numpy.typing import ArrayLike

from curewatch.units import FloatArray


def glass_transition(conversion: ArrayLike, uncured: float, full: float, shape: float) -> FloatArray:
    """Glass transition of a network of this conversion.

    Parameters
    ----------
    conversion : array_like, shape (...)
        [1]
    uncured, full : float
        Glass transition of the fresh mix and of the fully cured network. [K]
    shape : float
        DiBenedetto's lambda, 0..1. [1]

    Returns
    -------
    ndarray, shape (...)
        [K]

    Source
    ------
    DiBenedetto's relation in the form (Tg-Tg0)/(Tginf-Tg0) = L a / (1 - (1-L) a); Pascault and
    Williams, J. Polym. Sci. B 28:85 (1990) (reference from memory)
    """
    a = np.asarray(conversion, dtype=float)
    return np.asarray(uncured + (full - uncured) * shape * a / (1.0 - (1.0 - shape) * a), dtype=float)


def conversion_at(temperature: ArrayLike, uncured: float, full: float, shape: float) -> FloatArray:
    """Conversion at which the glass transition equals ``temperature``: the inverse of the above.

    Values above 1 mean that the fully cured network stays below that temperature; values below 0
    that the fresh mix is already a glass. They are returned as they come, because the diffusion
    limit needs the distance, not a clamp. [K] -> [1]

    Any shape (...), the same on both sides.

    Source
    ------
    The same relation solved for a: y / (L + (1-L) y), y = (T-Tg0)/(Tginf-Tg0)
    """
    y = (np.asarray(temperature, dtype=float) - uncured) / (full - uncured)
    # L + (1-L) y is zero about 100 K below Tg0 of any resin here: y is held above half of that.
    y = np.maximum(y, -0.5 * shape / (1.0 - shape)) if shape < 1.0 else y
    return np.asarray(y / (shape + (1.0 - shape) * y), dtype=float)
