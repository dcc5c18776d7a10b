"""For the board: one look at the shed, as the document that the board shows."""

from collections.abc import Iterable, Iterator

import numpy as np

from curewatch.advice.alert.progress import Progress
from curewatch.answers.chart import ChartDocument, chart_part
from curewatch.answers.sensor import SensorStateDocument, sensor_state_part
from curewatch.answers.watch import WatchDocument, watch_document
from curewatch.configuration import Configuration
from curewatch.logbook import LogbookStore
from curewatch.model.air.outlook import Outlook, band
from curewatch.physics import moist_air
from curewatch.shed import recall
from curewatch.shed.judgement import judged
from curewatch.shed.look import Look
from curewatch.units import HOUR, FloatArray
from curewatch.wording import plain_wording

CHART_BACK, CHART_AHEAD = 13 * HOUR, 13 * HOUR  # a little more than is drawn [s]


def gather(
    logbook: LogbookStore, configuration: Configuration, now: float, daemon: str = ""
) -> WatchDocument:
    """The whole board at ``now``.

    Raises
    ------
    StoreFailed, ConfigurationError
        The logbook cannot be read, or the configuration names what is not known.
    """
    look, shed = Look(logbook, configuration, now), configuration.shed
    return watch_document(
        now,
        plain_wording(configuration.zone),
        shed=shed.name,
        boat=shed.boat,
        advice=look.advice,
        running=look.running,
        alerts=look.alerts.values(),
        sensors=sensors(logbook, configuration, now),
        chart=_chart(look, now),
        daemon=daemon,
        rejected=look.situation.rejected,
    )


def sensors(logbook: LogbookStore, configuration: Configuration, now: float) -> list[SensorStateDocument]:
    """Every configured sensor, and without configuration every one whose name tells its role."""
    words = plain_wording(configuration.zone)
    names = recall.sensors_of_interest(logbook, configuration)
    found = judged(logbook, configuration, names, now)
    return [
        sensor_state_part(configuration.role_of(name) or "", health, heard.shown, now, words)
        for name, (heard, health) in found.items()
    ]


def _chart(look: Look, now: float) -> ChartDocument:
    """Surface (the air where no probe spoke) and dew point, recorded and expected."""
    past = look.situation.past
    recent = (past.time > now - CHART_BACK) & (past.time <= now)
    probed = np.isfinite(past.surface_temperature[recent]).any()
    recorded = (past.surface_temperature if probed else past.air_temperature)[recent]
    time, surface, vapour = _coming(look.outlook, now)
    return chart_part(
        np.concatenate([past.time[recent], time]),
        _joined(recorded, surface),
        _joined(_dew_point(past.vapour_pressure[recent]), [_dew_point(edge) for edge in vapour]),
        _windows(look.progress),
    )


def _coming(outlook: Outlook | None, now: float) -> tuple[FloatArray, list[FloatArray], list[FloatArray]]:
    """Times [UTC s], and low, middle and high of surface [K] and vapour pressure [Pa]; maybe nothing."""
    nothing: FloatArray = np.empty(0)
    if outlook is None:
        return nothing, [nothing] * 3, [nothing] * 3
    soon = (outlook.time > now) & (outlook.time < now + CHART_AHEAD)
    surface, vapour = outlook.surface_temperature[:, soon], outlook.vapour_pressure[:, soon]
    return outlook.time[soon], list(band(surface)), list(band(vapour))


def _joined(recorded: FloatArray, coming: list[FloatArray]) -> tuple[FloatArray, FloatArray, FloatArray]:
    low, middle, high = (np.concatenate([recorded, edge]) for edge in coming)
    return low, middle, high


def _windows(followed: Iterable[Progress]) -> Iterator[tuple[str, float, float]]:
    """From when the next layer may likely go on until when it surely still bonds."""
    for each in followed:
        opens, closes = each.moment("laminate-from").likely, each.moment("laminate-before").early
        if opens is not None and closes is not None and closes > opens:
            yield each.layer.layer, opens, closes


def _dew_point(vapour_pressure: FloatArray) -> FloatArray:
    found = np.full(vapour_pressure.shape, np.nan)
    known = np.isfinite(vapour_pressure)
    found[known] = moist_air.dew_point(vapour_pressure[known])
    return found
