"""The best outlook that what is known allows: learned from the shed's recordings, else the wide assumption.

The shed's own recent weeks come first (:mod:`curewatch.model.air.learned_paths`). A forecast is heeded beside
them, as far as kept ones have helped (:mod:`curewatch.model.air.weighing`). With too little recorded it is
persistence. Each says in words what it rests on.
"""

from collections.abc import Sequence

import numpy as np
from msgspec.structs import replace

from curewatch.materials.substrate import Substrate
from curewatch.model.air.forecast import Forecast, foretold, remark, usable
from curewatch.model.air.learned_paths import PathChanges, learned_paths, on_whole_hours
from curewatch.model.air.outlook import DRIEST_DEW_POINT, LENGTH, MEMBERS, STEP, Outlook, moments, persistence
from curewatch.model.air.past import DEW_POINT, SURFACE, Past
from curewatch.model.air.surface import estimated_now, lagged_temperature
from curewatch.physics import moist_air
from curewatch.units import HOUR, FloatArray

ANY_AIR = (223.15, 343.15)  # K: no path of any shed leaves this, however wild its past
LEARNED_BASIS = "this shed's own recordings: recent hours, the shape of its days, and its own surprises"


def coming_hours(
    past: Past,
    at: float,
    air_temperature: float,
    vapour_pressure: float,
    surface_temperature: float | None = None,
    *,
    substrate: Substrate | None = None,
    forecast: Forecast | None = None,
    earlier: Sequence[Forecast] = (),
    length: float = LENGTH,
    step: float = STEP,
    members: int = MEMBERS,
) -> Outlook:
    """Members of the coming hours from the best basis there is.

    Parameters
    ----------
    past : Past
        The recent weeks, any regular grid, ``nan`` where unknown; may be empty.
    at : float
        UTC of the last reading: "now" in all that follows. [s]
    air_temperature, vapour_pressure, surface_temperature : float
        The last readings, from which every member starts; no surface where no probe is. [K], [Pa], [K]
    substrate : Substrate, optional
        How slowly the surface follows where no probe has recorded it.
    forecast : Forecast, optional
        Of the air outside, for times ahead of now.
    earlier : sequence of Forecast, optional
        Older forecasts that were kept: what they were worth here decides how the newest counts.
    length, step : float
        How far and how finely to look. [s]
    members : int
        Number of paths.

    Returns
    -------
    Outlook
        Deterministic: the same for the same input.

    Raises
    ------
    OutOfValidity
        Air that has no dew point, or a length shorter than a step.

    Source
    ------
    Walk-forward tests on measured weather (open data) hold its skill and the honesty of its band.
    """
    start = _surface_now(past, at, air_temperature, surface_temperature, substrate)
    probed = surface_temperature is not None and _recorded(past, at)
    hours = on_whole_hours(past, at, probed)
    now = [air_temperature, float(moist_air.dew_point(vapour_pressure))] + ([start] if probed else [])
    hours.own[:, -1] = now
    known = max(0.0, float(np.isfinite(hours.own).all(axis=0).sum() - 1))
    horizon = int(np.ceil(length / HOUR))
    told = None
    if forecast is not None and usable(forecast, at):
        told = foretold(forecast, earlier, at, hours.own.shape[1], horizon)
    paths = learned_paths(hours, horizon, members, told)
    heard = "" if forecast is None else f"; {remark(forecast, at, None if paths is None else paths.weights)}"
    if paths is None:
        assumed = persistence(
            at,
            air_temperature,
            vapour_pressure,
            start,
            substrate=substrate,
            length=length,
            step=step,
            members=members,
        )
        return replace(assumed, history_hours=known, basis=_too_little(known) + heard)
    time = moments(at, length, step)
    own = _on_moments(hours.own[:, -1], paths, (time - at) / HOUR)
    air = np.clip(own[:, 0], *ANY_AIR)
    vapour = moist_air.saturation_pressure(np.clip(own[:, DEW_POINT], DRIEST_DEW_POINT, air))
    if own.shape[1] > SURFACE:
        surface = own[:, SURFACE]
    elif substrate is not None:
        surface = lagged_temperature(time, air, substrate.time_constant, start)
    else:
        surface = air + (start - air_temperature)
    return Outlook(time, air, vapour, np.clip(surface, *ANY_AIR), LEARNED_BASIS + heard, known)


def _too_little(known: float) -> str:
    had = f"only {known:.0f} h recorded to learn from" if known else "nothing recorded yet"
    return f"{had}: assumed to stay as it is, with the spread of outdoor weather"


def _recorded(past: Past, at: float) -> bool:
    """Whether a probe has recorded the surface for about as long as the air was recorded."""
    air, surface = np.isfinite(past.air_temperature), np.isfinite(past.surface_temperature)
    return bool(surface.sum() > 0.9 * air.sum() and surface[past.time > at - 6 * HOUR].any())


def _surface_now(
    past: Past, at: float, air: float, surface: float | None, substrate: Substrate | None
) -> float:
    if surface is not None or substrate is None:
        return air if surface is None else surface
    return float(estimated_now(past, at, air, substrate).temperature)


def _on_moments(now: FloatArray, paths: PathChanges, ahead: FloatArray) -> FloatArray:
    """Hourly changes from now as values at moments between, (members, quantities, moments)."""
    hourly = paths.middle + paths.residuals
    hourly = np.concatenate([np.zeros((*hourly.shape[:2], 1)), hourly], axis=2) + now[: hourly.shape[1], None]
    before = np.minimum(ahead.astype(int), hourly.shape[2] - 2)
    share = ahead - before
    found, after = (hourly.take(place, axis=2) for place in (before, before + 1))
    found *= 1 - share
    after *= share
    found += after
    return np.asarray(found)
