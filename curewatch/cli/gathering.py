"""One look at the logbook for the board: everything it shows, as one value.

It reads what the daemon wrote and asks by the same doors as `tonight` does, so that the board, the
answer and the alerts never stand on different readings.
"""

from collections.abc import Iterable

import numpy as np

from curewatch.advice.alert import alerts, watchers
from curewatch.advice.alert.alerts import State
from curewatch.advice.alert.progress import Progress, follow
from curewatch.advice.judge import question
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Situation
from curewatch.cli.screens.board import Board, Running, SensorState
from curewatch.cli.screens.chart import ChartWindow, Curve, ScreenChart, no_curve
from curewatch.configuration import Configuration
from curewatch.errors import CurewatchError
from curewatch.jobs import Layer
from curewatch.logbook import LogbookStore
from curewatch.model.air.outlook import Outlook, band
from curewatch.model.air.past import Past
from curewatch.physics import moist_air
from curewatch.shed import consult, layer_log, present, recall
from curewatch.shed.judgement import judge
from curewatch.units import DAY, HOUR, FloatArray

ALERTS_BACK = 30 * DAY  # an alert that has stood longer than this is no longer looked for [s]
CHART_BACK, CHART_AHEAD = 13 * HOUR, 13 * HOUR  # a little more than is drawn [s]


def gather(logbook: LogbookStore, configuration: Configuration, now: float, daemon: str = "") -> Board:
    """The whole board at ``now``.

    Raises
    ------
    StoreFailed, ConfigurationError
        The logbook cannot be read, or the configuration names what is not known.
    """
    asked = consult.question(configuration, logbook=logbook)
    known = present.situation(logbook, configuration, now)
    seen = question.with_surface(known, asked.substrate)
    outlook = question.coming_hours(seen, asked.substrate)
    followed = [
        progress_or_words(layer, configuration, asked, seen, outlook, logbook=logbook)
        for layer in layer_log.running(logbook, now)
    ]
    stood = standing(logbook, now)
    progresses = [each for each in followed if isinstance(each, Progress)]
    signals = watchers.signals(seen, progresses, asked.limits, outlook, standing=stood)
    shed = configuration.shed
    return Board(
        at=now,
        shed=shed.name,
        boat=shed.boat,
        advice=question.ask(asked, known, coming=outlook),
        running=tuple(_running(each) for each in followed),
        alerts=tuple(alerts.reworded(stood, signals).values()),
        sensors=sensors(logbook, configuration, now),
        chart=ScreenChart(*_curves(seen.past, outlook, now), _windows(followed)),
        daemon=daemon,
        rejected=known.rejected,
    )


def running_layers(logbook: LogbookStore, configuration: Configuration, now: float) -> tuple[Running, ...]:
    """Every running layer with what will become of it."""
    asked = consult.question(configuration, logbook=logbook)
    seen = question.with_surface(present.situation(logbook, configuration, now), asked.substrate)
    outlook = question.coming_hours(seen, asked.substrate)
    return tuple(
        _running(progress_or_words(layer, configuration, asked, seen, outlook, logbook=logbook))
        for layer in layer_log.running(logbook, now)
    )


def progress_or_words(
    layer: Layer,
    configuration: Configuration,
    asked: Question,
    seen: Situation,
    outlook: Outlook | None,
    *,
    logbook: LogbookStore,
) -> Progress | tuple[Layer, str]:
    """Where a running layer stands, or why that cannot be said."""
    if outlook is None:
        return layer, "nothing is known of the air"
    try:
        return follow(layer, consult.about(layer, configuration, asked, logbook), seen, outlook)
    except CurewatchError as trouble:
        return layer, f"cannot be followed: {trouble}"


def standing(logbook: LogbookStore, now: float) -> State:
    """The alerts that stand, as the daemon wrote them down."""
    entries = logbook.entries("alert", start=now - ALERTS_BACK)
    return alerts.rebuild(alerts.events_told(entry.payload for entry in entries))


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
                str(health[name].state),
                None if last is None else last.time,
                None if last is None else last.temperature,
                None if last is None else last.relative_humidity,
            )
        )
    return tuple(found)


def _running(followed: Progress | tuple[Layer, str]) -> Running:
    if isinstance(followed, Progress):
        return Running(followed.layer, followed.timeline, followed.stage)
    return Running(followed[0], (), followed[1])


def _windows(followed: Iterable[Progress | tuple[Layer, str]]) -> tuple[ChartWindow, ...]:
    """From when the next layer may likely go on until when it surely still bonds."""
    found = []
    for each in followed:
        if isinstance(each, Progress):
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
