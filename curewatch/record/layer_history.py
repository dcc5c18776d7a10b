"""What a layer became along the surface temperature that was recorded, with the lot's band."""

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np

from curewatch.advice.alert.probe import ProbePath
from curewatch.errors import CurewatchError
from curewatch.materials.resin import Resin
from curewatch.model.film import blush, milestones
from curewatch.model.film.damp_air import acceleration
from curewatch.model.film.ensemble import cures_of_parts
from curewatch.model.film.ensemble_steps import Heat
from curewatch.model.film.film import Cure, History
from curewatch.model.film.lots import REACH, Lot
from curewatch.model.film.probed import Laid, own_paths
from curewatch.model.film.recoat_window import RecoatWindow, recoat_window
from curewatch.model.film.running_sum import running
from curewatch.model.mass.buildup import Buildup
from curewatch.physics import moist_air
from curewatch.record.measured import Measured
from curewatch.units import FloatArray

AHEAD = 30 * 86400.0  # s that a layer is followed for at most
NEAR_WARMEST = 5.0  # K


MARKS = {  # of a layer, by the codes of every timeline -> as the pages say it
    "working-time": "working time ends",
    "laminate-from": "next layer may go on",
    "gel": "gel",
    "tack-free": "tack-free",
    "laminate-before": "next layer still bonds until",
    "firm": "firm",
    "ready-to-sand": "ready to sand",
}


class MarkReached(NamedTuple):
    """When something happened, by the model, UTC [s]; none: not within the record."""

    early: float | None
    likely: float | None
    late: float | None


class Warmest(NamedTuple):
    """The warmest that was measured of a layer: what a post-cure is shown by."""

    temperature: float  # [K]
    at: float  # UTC [s]
    held: float  # not more than NEAR_WARMEST below it [s]
    probe: str  # in the layer; "": by the surface, or as it is estimated


class LayerHistory(NamedTuple):
    """A layer followed to the end of the record; arrays (n,) over ``time``."""

    layer: str
    started: float  # UTC [s]
    resin: Resin | None
    trouble: str  # why it could not be followed; "": it could
    time: FloatArray  # UTC [s]
    conversion: FloatArray  # (3, n) of a slow, a usual and a fast lot [1]
    glass_transition: FloatArray  # (3, n) [K]
    temperature: FloatArray  # of the surface, or of the layer where a probe told it [K]
    marks: Mapping[str, MarkReached]  # by the codes of MARKS
    unmeasured: int  # minutes of it that nobody measured: bridged in a straight line
    blush: str = ""  # none | peel-ply | wash-and-abrade, of the usual lot; "": the humidity is not known
    layer_on: str = ""  # its thickness and what it lies on
    closed_by: str = ""  # what closed the recoat window; "": nothing within the record
    warmest: Warmest | None = None


def _must_be_a_time(said: object) -> None:
    if not isinstance(said, int | float):
        raise CurewatchError(f"it began at {said!r}, which is no time")


def follow(
    payload: Mapping[str, Any],
    measured: Measured,
    end: float,
    resin_of: Callable[[str, str | None, str], Resin],
    buildup_of: Callable[[Mapping[str, Any]], Buildup | None],
) -> LayerHistory:
    """Follow one layer from its start to ``end``, UTC [s].

    ``resin_of``: resin by name, lot, layer. ``buildup_of``: how it heats itself, by what was told of it.
    """
    name, said = str(payload.get("layer", "?")), payload.get("started")
    started = float(said) if isinstance(said, int | float) else 0.0
    try:
        _must_be_a_time(said)
        lot = payload.get("lot")
        resin = resin_of(str(payload.get("resin", "")), None if lot is None else str(lot), name)
        history, unmeasured = _history(started, measured, min(end, started + AHEAD))
        buildup = buildup_of(payload)
        found, quick = _cures(resin, measured, (started, history), buildup, payload)
        skin = [
            each._replace(temperature=np.interp(each.time, history.time, history.temperature))
            for each in (*found, *quick)
        ]
        damp = [_surface_humidity(measured, started + cure.time) for cure in found]
        gas = [np.interp(started + cure.time, measured.time, measured.carbon_dioxide) for cure in found]
        windows = [_window(resin, *each) for each in zip(quick, skin[3:], damp, gas, strict=True)]
        lots = [_Lot(*each) for each in zip(found, quick, windows, strict=True)]
        met = _as_met(measured, started, history)
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
        np.stack([np.interp(grid, cure.time, cure.conversion) for cure in found]),
        np.stack([np.interp(grid, cure.time, cure.glass_transition) for cure in found]),
        np.interp(grid, *met),
        _marks(resin, lots, history, started),
        unmeasured,
        "" if damp[1] is None else blush.blush(resin, skin[1], damp[1], gas[1]).outcome,
        "" if measured.probe else _layer_on(buildup),
        windows[1].told.cause,
        _warmest(met, started, "" if measured.probe is None else measured.probe.name),
    )


def _as_met(measured: Measured, started: float, bare: History) -> History:
    """The temperature of the layer where a probe told it, else of its bare surface."""
    if measured.probe is None:
        return bare
    seen, time = measured.probe.measured, started + bare.time
    told = seen.within(time, float(time[-1]))
    return History(bare.time, np.where(told, seen.along(time), bare.temperature))


def _warmest(history: History, started: float, probe: str) -> Warmest:
    top = int(np.argmax(history.temperature))
    near = history.temperature >= history.temperature[top] - NEAR_WARMEST
    held = float(np.diff(history.time)[near[:-1] & near[1:]].sum())
    return Warmest(float(history.temperature[top]), started + float(history.time[top]), held, probe)


def _layer_on(buildup: Buildup | None) -> str:
    if buildup is None:
        return ""
    below = "" if buildup.substrate is None else f" on {buildup.substrate.title}"
    return f"{1000.0 * buildup.thickness:.3g} mm{below}"


def _cures(
    resin: Resin,
    measured: Measured,
    laid: tuple[float, History],
    buildup: Buildup | None,
    payload: Mapping[str, Any],
) -> tuple[list[Cure], list[Cure]]:
    """Of a slow, a usual and a fast lot, with the heat of what lies below: slowest and quickest part.

    Along what a probe in it measured, and from its last word on as the countdowns have it.
    """
    started, bare = laid
    history = bare
    before = () if buildup is None else buildup.before
    earlier = -min((ply.at for ply in before), default=0.0)
    if earlier:
        history, _ = _history(started - earlier, measured, started + float(bare.time[-1]))
    air = _air(started - earlier, measured, history)
    dose = resin.dose_factor(payload.get("peroxide_percent"))
    lots = [Lot(resin, dose * float(np.exp(sign * REACH * resin.rate_sd))) for sign in (-1, 0, 1)]
    paths = History(history.time, np.tile(history.temperature, (len(lots), 1)))
    heat = None if buildup is None else Heat(buildup, np.tile(air, (len(lots), 1)))
    if measured.probe is not None:
        whole = Laid(started, lots, buildup, started - earlier + history.time, history.temperature, air)
        paths, heat, earlier = History(bare.time, _own(whole, measured.probe, bare)), None, 0.0
    both = cures_of_parts(resin, paths, lots, heat, earlier)
    slow, quick = (
        [Cure(found.time, *(each[row] for each in found[1:])) for row in range(len(lots))] for found in both
    )
    return slow, quick


def _own(laid: Laid, probe: ProbePath, bare: History) -> FloatArray:
    """As warm as each lot is with a probe in it, at the times of its bare surface. (lots, n) [K]"""
    own = own_paths(laid, probe.measured, float(laid.time[-1]))
    return np.stack([np.interp(laid.started + bare.time, laid.time, each) for each in own])


def _air(started: float, measured: Measured, history: History) -> FloatArray:
    """The air around it at the times of its history; where nobody measured that, its own temperature. [K]"""
    known = np.isfinite(measured.air_temperature)
    if not known.any():
        return history.temperature
    return np.interp(started + history.time, measured.time[known], measured.air_temperature[known])


class Unmeasured(CurewatchError):  # noqa: N818 - named by the matter
    """Nobody measured the temperature of this layer."""


def _history(started: float, measured: Measured, end: float) -> tuple[History, int]:
    """The surface from the start, straight where only a probe spoke; minutes that nobody measured."""
    inside = (measured.time >= started) & (measured.time <= end)
    at, value = measured.time[inside], measured.film_temperature[inside]
    known, told = np.isfinite(value), np.zeros(at.size, dtype=bool)
    if measured.probe is not None:
        seen = measured.probe.measured
        told = seen.within(at, end)
        if known.sum() < 2:  # nobody measured what lies around it
            known, value = told, seen.along(at)
    if known.sum() < 2:
        raise Unmeasured("no temperature was recorded while it cured")
    heard = known | told
    time = at[heard] - started
    value = np.interp(time, at[known] - started, value[known])
    if time[0] > 0:
        time, value = np.insert(time, 0, 0.0), np.insert(value, 0, value[0])
    return History(time, value), int((~heard).sum())


def _surface_humidity(measured: Measured, time: FloatArray) -> FloatArray | None:
    """Relative humidity at the surface over these times, UTC [s]; none if it is known nowhere. [1]"""
    known = np.isfinite(measured.dew_point) & np.isfinite(measured.film_temperature)
    if not known.any():
        return None
    pressure = moist_air.saturation_pressure(measured.dew_point[known])
    humidity = pressure / moist_air.saturation_pressure(measured.film_temperature[known])
    return np.interp(time, measured.time[known], np.minimum(humidity, 1.0))


def _sooner(resin: Resin, cure: Cure, humidity: FloatArray | None) -> float:
    """How much faster it cures for the water at its surface until it gels; 1 where that is unknown. [1]"""
    if humidity is None:
        return 1.0
    gel = milestones.crossing(cure.time, cure.conversion, resin.milestones.gel)
    until = float(cure.time[-1] if np.isnan(gel) else gel)
    mean = np.interp(until, cure.time, running(cure.time, humidity)) / max(until, 1.0)
    return float(acceleration(resin, np.array([mean]))[0])


class _Closing(NamedTuple):
    """The recoat window of a lot, and how many times as fast it cures in damp air."""

    told: RecoatWindow
    sooner: float


class _Lot(NamedTuple):
    """A slow, a usual or a fast lot: its slowest and its quickest part."""

    slow: Cure
    quick: Cure
    closing: _Closing


def _window(
    resin: Resin, cure: Cure, skin: Cure, humidity: FloatArray | None, carbon_dioxide: FloatArray
) -> _Closing:
    """The window of a cure; ``skin`` is the same, as warm as the bare surface, by which blush goes."""
    sooner = _sooner(resin, cure, humidity)
    rate = None if humidity is None else blush.rate(resin, skin.temperature, humidity, carbon_dioxide)
    return _Closing(recoat_window(resin, cure, rate, sooner), sooner)


def _marks(resin: Resin, lots: list[_Lot], bare: History, started: float) -> dict[str, MarkReached]:
    """Early, likely and late of each mark: of a fast, a usual and a slow lot.

    A slow lot that gathers blush for longer may close first.
    """
    slow, usual, fast = (_times(resin, bare, each) for each in lots)
    found = {}
    for name, likely in usual.items():
        early, late = fast[name], slow[name]
        if np.isfinite((early, likely, late)).all():
            early, late = min(early, likely, late), max(early, likely, late)
        found[name] = MarkReached(*(_at(started, each) for each in (early, likely, late)))
    return found


def _times(resin: Resin, bare: History, lot: _Lot) -> dict[str, float]:
    found, first = (milestones.milestones(resin, part, bare) for part in (lot.slow, lot.quick))
    window, sooner = lot.closing
    none = float("nan") if resin.surface.wax else 1.0  # with wax there is no window: it is abraded
    return {
        "working-time": first.working_time / sooner,
        "laminate-from": none * found.recoat_from,
        "gel": found.gel / sooner,
        "tack-free": found.tack_free,
        "laminate-before": none * float(window.closes),
        "firm": found.firm,
        "ready-to-sand": found.ready_to_sand,
    }


def _at(started: float, seconds: float) -> float | None:
    return started + seconds if np.isfinite(seconds) else None
