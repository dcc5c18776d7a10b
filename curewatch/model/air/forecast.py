"""A forecast of the air outside that the user feeds, brought into the shed and set right by its own past.

*Theory of operation.* The forecast is compared with what the sensor outside has said: with earlier
forecasts, if some were kept, else with the last hours. That bias is taken off, the less the further
ahead. The shed as identified turns the outside into the inside, starting from the last reading. The
band has two parts: what earlier forecasts got wrong (or, with none kept, what is assumed), and what the
shed's model leaves unexplained; both are coherent paths, not independent hours.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from curewatch.errors import OutOfValidity
from curewatch.model.air.learned_paths import DEW_POINT, PathChanges, bridged, dew_point_of
from curewatch.model.air.members import normal_members
from curewatch.model.air.past import Past
from curewatch.model.air.shed import Shed, assumed, follow
from curewatch.physics import moist_air
from curewatch.units import DAY, HOUR, FloatArray

SHORTEST = 6 * HOUR  # ahead of now; a shorter forecast says less than the shed's own past
# Error of a fresh forecast for one place, at once and after three days, and how long an error lasts.
# ASSUMED from common experience with public hourly forecasts; earlier forecasts that were kept replace it.
NEAR_SD, FAR_SD = (1.0, 1.2), (2.5, 2.8)  # air, dew point [K]
ERROR_MEMORY = 30 * HOUR
SEEN_SHARE = 0.3  # of an error that is left where a sensor outside has just shown it; ASSUMED
BIAS_MEMORY = 72 * HOUR  # how far ahead today's bias still counts; ASSUMED
SHED_MEMORY = 6 * HOUR  # after which what the shed's model leaves unexplained has its full spread; ASSUMED
FEWEST_EARLIER = 10  # kept forecasts from which errors are learned rather than assumed


class Forecast(NamedTuple):
    """Air outside as somebody foretold it. Arrays (n,), times rising."""

    issued: float  # UTC [s]
    time: FloatArray  # UTC [s]
    temperature: FloatArray  # [K]
    vapour_pressure: FloatArray  # [Pa]


def checked(forecast: Forecast) -> Forecast:
    """The forecast itself, if it can be used at all.

    Raises
    ------
    OutOfValidity
        Fewer than two moments, times that do not rise, or values that are no numbers.
    """
    time = np.asarray(forecast.time, dtype=np.float64)
    if len(time) < 2 or not np.all(np.diff(time) > 0):
        raise OutOfValidity("moments of the forecast", len(time), "two or more, rising", "a forecast")
    moist_air.dew_point(forecast.vapour_pressure)
    moist_air.saturation_pressure(forecast.temperature)
    return forecast


def usable(forecast: Forecast, at: float) -> bool:
    """Whether it reaches far enough ahead of now, and began before it."""
    time = forecast.time
    return bool(len(time) > 1 and time[0] <= at + HOUR and time[-1] >= at + SHORTEST)


def forecast_paths(
    forecast: Forecast,
    past: Past,
    at: float,
    now: FloatArray,
    *,
    shed: Shed | None,
    horizon: int,
    members: int,
    earlier: Sequence[Forecast] = (),
) -> tuple[PathChanges, str]:
    """Hourly changes of the inside (air, dew point) from now, as :func:`learned_paths` gives them.

    Parameters
    ----------
    forecast : Forecast
        The newest.
    past : Past
        Its outside readings set the forecast right.
    at : float
        UTC of now. [s]
    now : ndarray, shape (2,)
        Air temperature and dew point inside. [K]
    shed : Shed, optional
        As identified; the assumed one if not given.
    horizon : int
        Hours.
    members : int
        Number of paths.
    earlier : sequence of Forecast
        Older ones that were kept: from ten on their own errors make the band.

    Returns
    -------
    Paths, str
        And in words what they rest on.

    Raises
    ------
    OutOfValidity
        See :func:`checked`.

    Source
    ------
    :func:`curewatch.model.air.shed.follow`; error growth as the module's constants say.
    """
    shed = shed or assumed()
    ahead: FloatArray = np.linspace(0.0, HOUR * horizon, horizon + 1)
    told = _told(checked(forecast), at + ahead)
    known = _known_errors(earlier, past, at, horizon)
    if len(known) >= FEWEST_EARLIER:
        bias, surprises, source = _learned_errors(known, members)
    else:
        bias, surprises, source = _assumed_errors(forecast, past, at, ahead, members)
    outside = told - bias - np.concatenate([np.zeros((1, 2, len(ahead))), surprises])
    outside[:, 1] = np.minimum(outside[:, 1], outside[:, 0])
    start = float(moist_air.saturation_pressure(now[DEW_POINT]))
    vapour = moist_air.saturation_pressure(outside[:, 1])
    inside = follow(shed, at + ahead, outside[:, 0], vapour, temperature=float(now[0]), vapour_pressure=start)
    own = np.stack([inside.temperature, moist_air.dew_point(inside.vapour_pressure)], axis=1)
    own[1:] = own[1:] + _unexplained(shed, start, ahead, members)
    changes = own[:, :, 1:] - now[:2, None]
    basis = f"a forecast of the air outside, set right by {source}, through {shed.basis}"
    return PathChanges(changes[0], changes[1:] - changes[0]), basis


def _told(forecast: Forecast, when: FloatArray) -> FloatArray:
    """Air temperature and dew point outside, (2, n); beyond its end the forecast repeats its last day."""
    late = np.maximum(0.0, np.ceil((when - forecast.time[-1]) / DAY)) * DAY
    dew = moist_air.dew_point(forecast.vapour_pressure)
    return np.stack([np.interp(when - late, forecast.time, series) for series in (forecast.temperature, dew)])


def _recorded(past: Past, when: FloatArray) -> FloatArray:
    """Air temperature and dew point that the outside sensor saw, (2, n); ``nan`` where it saw none."""
    dew = dew_point_of(past.outside_vapour_pressure)
    return np.asarray([bridged(past.time, series, when) for series in (past.outside_temperature, dew)])


def _known_errors(earlier: Sequence[Forecast], past: Past, at: float, horizon: int) -> FloatArray:
    """Forecast minus recorded of kept forecasts that have run their course, (forecasts, 2, hours)."""
    errors = []
    for forecast in earlier:
        when = np.linspace(forecast.issued, forecast.issued + HOUR * horizon, horizon + 1)
        if when[-1] <= at and forecast.time[-1] >= when[-1] - DAY:
            error = _told(forecast, when) - _recorded(past, when)
            if np.isfinite(error).all():
                errors.append(error)
    return np.array(errors).reshape(-1, 2, horizon + 1)


def _learned_errors(known: FloatArray, members: int) -> tuple[FloatArray, FloatArray, str]:
    bias = known.mean(axis=0)
    picked = known[np.round(np.linspace(0, len(known) - 1, members)).astype(int)] - bias
    widened = picked * np.sqrt(1 + 1.5 / len(known))
    return bias, widened, f"{len(known)} earlier forecasts that were kept"


def _assumed_errors(
    forecast: Forecast, past: Past, at: float, ahead: FloatArray, members: int
) -> tuple[FloatArray, FloatArray, str]:
    when = np.linspace(at - 5 * HOUR, at, 6)
    when = when[(when >= forecast.time[0]) & (when <= forecast.time[-1])]
    bias, source, seen_outside = np.zeros(2), "nothing, since no sensor outside tells", False
    if len(when) and len(past.time):
        seen = _told(forecast, when) - _recorded(past, when)
        whole = np.isfinite(seen).all(axis=0)
        if whole.any():
            bias, source, seen_outside = seen[:, whole].mean(axis=1), "the last hours outside", True
    first, later = normal_members(members, 4).reshape(members, 2, 2, 1).transpose(2, 0, 1, 3)
    faded = np.exp(-ahead / ERROR_MEMORY)
    growth = np.minimum(1.0, ahead / (72 * HOUR))
    spread = np.stack([near + (far - near) * growth for near, far in zip(NEAR_SD, FAR_SD, strict=True)])
    still = SEEN_SHARE if seen_outside else 1.0
    surprises = spread * (still * first * faded + later * np.sqrt(1 - faded**2))
    return bias[:, None] * np.exp(-ahead / BIAS_MEMORY), surprises, source


def _unexplained(shed: Shed, vapour_pressure: float, ahead: FloatArray, members: int) -> FloatArray:
    """What the shed's model cannot tell, growing from nothing now: (members, 2, hours)."""
    slope = float(moist_air.saturation_slope(moist_air.dew_point(vapour_pressure)))
    spread = np.array([shed.temperature_sd, shed.vapour_pressure_sd / slope])
    grown = np.sqrt(-np.expm1(-2 * ahead / SHED_MEMORY))
    return np.asarray(normal_members(members, 6)[:, 4:, None] * spread[:, None] * grown)
