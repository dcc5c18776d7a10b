"""What a layer became along the surface temperature that was recorded, with the lot's band."""

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np

from curewatch.errors import CurewatchError
from curewatch.materials.resin import Resin
from curewatch.model.film import blush, film, milestones
from curewatch.model.film.recoat_window import RecoatWindow, recoat_window
from curewatch.physics import moist_air
from curewatch.record.measured import Measured
from curewatch.units import FloatArray

BAND = 1.645  # standard deviations of the lot's rate: nine lots of ten lie between
AHEAD = 30 * 86400.0  # s that a layer is followed for at most


class MarkReached(NamedTuple):
    """When something happened, by the model, UTC [s]; none: not within the record."""

    early: float | None
    likely: float | None
    late: float | None


class LayerHistory(NamedTuple):
    """A layer followed to the end of the record; arrays (n,) over ``time``."""

    layer: str
    started: float  # UTC [s]
    resin: Resin | None
    trouble: str  # why it could not be followed; "": it could
    time: FloatArray  # UTC [s]
    conversion: FloatArray  # (3, n) of a slow, a usual and a fast lot [1]
    glass_transition: FloatArray  # (3, n) [K]
    temperature: FloatArray  # of the surface [K]
    marks: Mapping[str, MarkReached]
    unmeasured: int  # minutes of it that nobody measured: bridged in a straight line
    blush: str = ""  # none | peel ply | wash and abrade, of the usual lot; "": the humidity is not known
    closed_by: str = ""  # what closed the recoat window; "": nothing within the record


def _must_be_a_time(said: object) -> None:
    if not isinstance(said, int | float):
        raise CurewatchError(f"it began at {said!r}, which is no time")


def follow(
    payload: Mapping[str, Any],
    measured: Measured,
    end: float,
    resin_of: Callable[[str, str | None, str], Resin],
) -> LayerHistory:
    """Follow one layer from its start to ``end``, UTC [s]. ``resin_of``: resin by name, lot, layer."""
    name, said = str(payload.get("layer", "?")), payload.get("started")
    started = float(said) if isinstance(said, int | float) else 0.0
    try:
        _must_be_a_time(said)
        lot = payload.get("lot")
        resin = resin_of(str(payload.get("resin", "")), None if lot is None else str(lot), name)
        history, unmeasured = _history(started, measured, min(end, started + AHEAD))
        cures = [
            film.cure(
                resin,
                history,
                rate_factor=float(np.exp(sign * BAND * resin.rate_sd)),
                peroxide_percent=payload.get("peroxide_percent"),
            )
            for sign in (-1, 0, 1)
        ]
        damp = [_surface_humidity(measured, started + cure.time) for cure in cures]
        gas = [np.interp(started + cure.time, measured.time, measured.carbon_dioxide) for cure in cures]
        windows = [_window(resin, *each) for each in zip(cures, damp, gas, strict=True)]
    except CurewatchError as trouble:
        nothing = np.empty(0)
        return LayerHistory(
            name, started, None, str(trouble), nothing, np.empty((3, 0)), np.empty((3, 0)), nothing, {}, 0
        )
    grid = float(history.time[-1]) * np.linspace(0.0, 1.0, 500) ** 2  # fine where it is fast
    return LayerHistory(
        name,
        started,
        resin,
        "",
        started + grid,
        np.stack([np.interp(grid, cure.time, cure.conversion) for cure in cures]),
        np.stack([np.interp(grid, cure.time, cure.glass_transition) for cure in cures]),
        np.interp(grid, history.time, history.temperature),
        _marks(resin, cures, windows, started),
        unmeasured,
        "" if damp[1] is None else blush.blush(resin, cures[1], damp[1], gas[1]).outcome,
        windows[1].cause,
    )


class Unmeasured(CurewatchError):  # noqa: N818 - named by the matter
    """Nobody measured the temperature of this layer."""


def _history(started: float, measured: Measured, end: float) -> tuple[film.History, int]:
    """The temperature of what cures, from the start."""
    inside = (measured.time >= started) & (measured.time <= end)
    time = measured.time[inside] - started
    value = measured.film_temperature[inside]
    known = np.isfinite(value)
    if known.sum() < 2:
        raise Unmeasured("no temperature was recorded while it cured")
    time, value, missing = time[known], value[known], int((~known).sum())
    if time[0] > 0:
        time, value = np.insert(time, 0, 0.0), np.insert(value, 0, value[0])
    return film.History(time, value), missing


def _surface_humidity(measured: Measured, time: FloatArray) -> FloatArray | None:
    """Relative humidity at the surface over these times, UTC [s]; none if it is known nowhere. [1]"""
    known = np.isfinite(measured.dew_point) & np.isfinite(measured.film_temperature)
    if not known.any():
        return None
    pressure = moist_air.saturation_pressure(measured.dew_point[known])
    humidity = pressure / moist_air.saturation_pressure(measured.film_temperature[known])
    return np.interp(time, measured.time[known], np.minimum(humidity, 1.0))


def _window(
    resin: Resin, cure: film.Cure, humidity: FloatArray | None, carbon_dioxide: FloatArray
) -> RecoatWindow:
    rate = None if humidity is None else blush.rate(resin, cure.temperature, humidity, carbon_dioxide)
    return recoat_window(resin, cure, rate)


def _marks(
    resin: Resin, cures: list[film.Cure], windows: list[RecoatWindow], started: float
) -> dict[str, MarkReached]:
    """Early, likely and late of each mark: of a fast, a usual and a slow lot."""
    slow, usual, fast = (_times(resin, *each) for each in zip(cures, windows, strict=True))
    return {name: MarkReached(*(_at(started, each[name]) for each in (fast, usual, slow))) for name in usual}


def _times(resin: Resin, cure: film.Cure, window: RecoatWindow) -> dict[str, float]:
    found = milestones.milestones(resin, cure)
    return {
        "working time ends": found.working_time,
        "next layer may go on": float(window.opens),
        "gel": found.gel,
        "tack-free": found.tack_free,
        "next layer still bonds until": float(window.closes),
        "firm": found.firm,
        "ready to sand": found.ready_to_sand,
    }


def _at(started: float, seconds: float) -> float | None:
    return started + seconds if np.isfinite(seconds) else None
