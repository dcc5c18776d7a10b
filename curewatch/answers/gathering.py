"""One look at the shed, as the documents that the board, the page and collectors of numbers show."""

from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from curewatch.advice.alert.progress import Progress
from curewatch.advice.plan.windows import LENGTH, strip
from curewatch.answers.chart import ChartDocument, chart_part
from curewatch.answers.metrics import Family, families_of, open_metrics
from curewatch.answers.sensor import SensorStateDocument, sensor_state_part
from curewatch.answers.sheds import ShedLineDocument, ShedsDocument, shed_line, sheds_document, unseen_shed
from curewatch.answers.tonight import TonightDocument, tonight_document
from curewatch.answers.values import values_document
from curewatch.answers.watch import WatchDocument, watch_document
from curewatch.answers.windows import WindowsDocument, unseen_windows, windows_document
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import CurewatchError, StoreFailed
from curewatch.logbook import LogbookStore, open_logbook
from curewatch.model.air.outlook import Outlook, band
from curewatch.phrases import phrase
from curewatch.physics import moist_air
from curewatch.shed import recall
from curewatch.shed.consult import working_spans
from curewatch.shed.judgement import judged
from curewatch.shed.look import Look, looking
from curewatch.units import HOUR, MINUTE, FloatArray
from curewatch.wording import plain_wording

CHART_BACK, CHART_AHEAD = 13 * HOUR, 13 * HOUR  # a little more than is drawn [s]
COMING_EVERY = 30 * MINUTE  # between two starts of the coming days: a phone shows no finer


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


def gather_sheds(sheds: Mapping[str, Configuration], now: float) -> ShedsDocument:
    """Every shed in a line, worst first; by its name in the file. One that cannot be looked at is unknown."""
    return sheds_document((_line(label, shed, now) for label, shed in sheds.items()), now)


def _line(label: str, shed: Configuration, now: float) -> ShedLineDocument:
    path, words = logbook_path(shed), plain_wording(shed.zone)
    try:
        if not path.exists():
            raise StoreFailed(f"there is no logbook at {path}; `curewatch ingest` or `watch` begins one")
        with open_logbook(path, read_only=True) as logbook:
            return shed_line(label, gather(logbook, shed, now), words)
    except CurewatchError as trouble:
        return unseen_shed(
            label, shed.shed.name, shed.shed.boat, phrase("{reason}", reason=str(trouble)), words
        )


def open_metrics_of_sheds(sheds: Mapping[str, Configuration], now: float) -> str:
    """What is known of these sheds as OpenMetrics text. [UTC s]"""
    found: dict[str, tuple[Family, ...]] = {}
    for label, shed in sheds.items():
        with looking(shed, now) as look:
            found[label] = _families(look, now)
    return open_metrics(found)


def sensors(logbook: LogbookStore, configuration: Configuration, now: float) -> list[SensorStateDocument]:
    """Every configured sensor, and without configuration every one whose name tells its role."""
    words = plain_wording(configuration.zone)
    names = recall.sensors_of_interest(logbook, configuration)
    found = judged(logbook, configuration, names, now)
    return [
        sensor_state_part(configuration.role_of(name) or "", health, heard.shown, now, words)
        for name, (heard, health) in found.items()
    ]


def coming(logbook: LogbookStore, configuration: Configuration, now: float) -> WindowsDocument:
    """The starts of the coming two days, with the resin on the shelf. [UTC s]

    Raises
    ------
    StoreFailed, ConfigurationError, OutOfValidity
        As :func:`gather`; or a path leaves what the resin is known for.
    """
    look = Look(logbook, configuration, now, length=LENGTH)
    foreseen = look.foreseen(look.question)
    if foreseen is None:
        doubts = look.doubts(look.question)
        return unseen_windows((look.question,), doubts, now, plain_wording(configuration.zone))
    working = working_spans(configuration, now, now + LENGTH)
    found = strip(look.question, *foreseen, working, every=COMING_EVERY)
    return windows_document((found,), now, foreseen[1].basis)


def turning(logbook: LogbookStore, configuration: Configuration, now: float) -> TonightDocument:
    """The answer for a start now with what would turn a no-go, which takes seconds. [UTC s]

    Raises
    ------
    StoreFailed, ConfigurationError, OutOfValidity
        As :func:`gather`; or a path leaves what the resin is known for.
    """
    look = Look(logbook, configuration, now)
    return tonight_document(look.advise(look.question), plain_wording(configuration.zone))


def open_metrics_of(look: Look, now: float) -> str:
    """What is known as OpenMetrics text. [UTC s]"""
    return open_metrics({"": _families(look, now)})


def _families(look: Look, now: float) -> tuple[Family, ...]:
    logbook, configuration, words = look.logbook, look.configuration, plain_wording()
    known = {} if logbook is None else logbook.sensors()
    names = dict.fromkeys((*configuration.sensors, *known))
    found = {} if logbook is None else judged(logbook, configuration, names, now)
    states = [
        sensor_state_part(configuration.role_of(name) or "", health, heard.shown, now, words)
        for name, (heard, health) in found.items()
    ]
    rejected: dict[str, int] = {}
    for one in () if logbook is None else logbook.rejected():
        rejected[one.reason] = rejected.get(one.reason, 0) + one.times
    readings = {name: one.readings for name, one in known.items()}
    return families_of(values_document(look.advice, look.situation), states, readings, rejected)


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
