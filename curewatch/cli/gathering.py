"""For the board: one look at the shed, as the board shows it."""

from collections.abc import Iterable
from typing import Any

import numpy as np

from curewatch.advice.alert.progress import Progress
from curewatch.answers.parts import moment_part
from curewatch.cli.screens.board import Board, Running, SensorState
from curewatch.cli.screens.chart import ChartWindow, Curve, ScreenChart, no_curve
from curewatch.clock import iso_utc
from curewatch.configuration import Configuration
from curewatch.logbook import LogbookStore
from curewatch.model.air.outlook import Outlook, band
from curewatch.model.air.past import Past
from curewatch.physics import moist_air
from curewatch.shed import recall
from curewatch.shed.judgement import judge
from curewatch.shed.look import Look
from curewatch.units import HOUR, FloatArray

CHART_BACK, CHART_AHEAD = 13 * HOUR, 13 * HOUR  # a little more than is drawn [s]


def gather(logbook: LogbookStore, configuration: Configuration, now: float, daemon: str = "") -> Board:
    """The whole board at ``now``.

    Raises
    ------
    StoreFailed, ConfigurationError
        The logbook cannot be read, or the configuration names what is not known.
    """
    look, shed = Look(logbook, configuration, now), configuration.shed
    return Board(
        at=now,
        shed=shed.name,
        boat=shed.boat,
        advice=look.advice,
        running=running_layers(look),
        alerts=tuple(look.alerts.values()),
        sensors=sensors(logbook, configuration, now),
        chart=ScreenChart(*_curves(look.situation.past, look.outlook, now), _windows(look.progress)),
        daemon=daemon,
        rejected=look.situation.rejected,
    )


def running_layers(look: Look) -> tuple[Running, ...]:
    """Every running layer with what will become of it, or why that cannot be said."""
    return tuple(
        Running(layer, (), reason) if progress is None else Running(layer, progress.timeline, progress.stage)
        for layer, progress, reason in look.running
    )


def running_as_plain(running: Running) -> dict[str, Any]:
    """A running layer for ``--json``."""
    layer = running.layer
    return {
        "layer": layer.layer,
        "started": iso_utc(layer.started),
        "resin": layer.resin,
        "batch_mass_g": None if layer.batch_mass is None else round(layer.batch_mass * 1000, 1),
        "peroxide_percent": layer.peroxide_percent,
        "peroxide_assumed": layer.peroxide_assumed,
        "lot": layer.lot,
        "job": layer.job,
        "note": layer.note,
        "given_afterwards": layer.given_afterwards,
        "stage": running.said,
        "timeline": [moment_part(moment) for moment in running.moments],
    }


def sensors(logbook: LogbookStore, configuration: Configuration, now: float) -> tuple[SensorState, ...]:
    """Every configured sensor, and without configuration every one whose name tells its role."""
    names = recall.sensors_of_interest(logbook, configuration)
    seen = {name: recall.look_up(logbook, name, now) for name in names}
    health = judge(configuration, {name: each.track for name, each in seen.items()}, now)
    found = []
    for name in names:
        last = seen[name].shown
        found.append(
            SensorState(
                name,
                configuration.role_of(name) or "",
                str(health[name].health),
                None if last is None else last.time,
                None if last is None else last.temperature,
                None if last is None else last.relative_humidity,
            )
        )
    return tuple(found)


def _windows(followed: Iterable[Progress]) -> tuple[ChartWindow, ...]:
    """From when the next layer may likely go on until when it surely still bonds."""
    found = []
    for each in followed:
        opens, closes = each.moment("laminate-from").likely, each.moment("laminate-before").early
        if opens is not None and closes is not None and closes > opens:
            found.append(ChartWindow(each.layer.layer, opens, closes))
    return tuple(found)


def _curves(past: Past, outlook: Outlook | None, now: float) -> tuple[Curve, Curve]:
    """Surface (the air where no probe spoke) and dew point, recorded and expected."""
    recent = (past.time > now - CHART_BACK) & (past.time <= now)
    probed = np.isfinite(past.surface_temperature[recent]).any()
    surface = (past.surface_temperature if probed else past.air_temperature)[recent]
    before = past.time[recent]
    dew_point = _dew_point(past.vapour_pressure[recent])
    if outlook is None:
        return _joined(before, surface, no_curve()), _joined(before, dew_point, no_curve())
    soon = (outlook.time > now) & (outlook.time < now + CHART_AHEAD)
    coming = Curve(outlook.time[soon], *band(outlook.surface_temperature[:, soon]))
    damp = Curve(outlook.time[soon], *(_dew_point(edge) for edge in band(outlook.vapour_pressure[:, soon])))
    return _joined(before, surface, coming), _joined(before, dew_point, damp)


def _joined(time: FloatArray, values: FloatArray, coming: Curve) -> Curve:
    edges = (np.concatenate([values, edge]) for edge in coming[1:])
    return Curve(np.concatenate([time, coming.time]), *edges)


def _dew_point(vapour_pressure: FloatArray) -> FloatArray:
    found = np.full(vapour_pressure.shape, np.nan)
    known = np.isfinite(vapour_pressure)
    found[known] = moist_air.dew_point(vapour_pressure[known])
    return found
