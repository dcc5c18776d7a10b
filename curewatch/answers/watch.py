"""The document of `watch`: all that the board shows."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

from curewatch.answers.alerts import AlertDocument, alert_part
from curewatch.answers.chart import ChartDocument
from curewatch.answers.document import Shape, Utc, says
from curewatch.answers.layer import RunningLayerDocument, running_layer_part
from curewatch.answers.sensor import SensorStateDocument
from curewatch.answers.tonight import TonightDocument, tonight_document
from curewatch.clock import iso_utc

if TYPE_CHECKING:
    from curewatch.advice.alert.alerts import ActiveAlert
    from curewatch.advice.judge.answer import Advice
    from curewatch.shed.look import RunningLayer
    from curewatch.wording import Wording


class WatchDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch watch --once`: all that the board shows."""

    at: Annotated[Utc, says("When it was looked at (ISO 8601, UTC)")]
    shed: Annotated[str, says("Its name")]
    boat: Annotated[str, says("Its name, or empty")]
    advice: Annotated[
        TonightDocument | None, says("The document of `tonight`, for a start now; null before the first look")
    ]
    running: Annotated[list[RunningLayerDocument], says("Running layers")]
    alerts: Annotated[list[AlertDocument], says("The active alerts")]
    sensors: Annotated[list[SensorStateDocument], says("Each sensor's last word")]
    chart: Annotated[ChartDocument | None, says("Surface and dew point; null before the first look")]
    daemon: Annotated[str, says("Who keeps the logbook")]
    rejected: Annotated[str, says("What came in lately and could not be taken, or empty")]


def watch_document(
    now: float,
    words: "Wording",
    *,
    shed: str,
    boat: str = "",
    advice: "Advice | None" = None,
    running: "Iterable[RunningLayer]" = (),
    alerts: "Iterable[ActiveAlert]" = (),
    sensors: Iterable[SensorStateDocument] = (),
    chart: ChartDocument | None = None,
    daemon: str = "",
    rejected: str = "",
) -> WatchDocument:
    """What one look at the shed gives to the board. [UTC s]"""
    return WatchDocument(
        at=iso_utc(now),
        shed=shed,
        boat=boat,
        advice=None if advice is None else tonight_document(advice, words),
        running=[running_layer_part(each) for each in running],
        alerts=[alert_part(each, now, words) for each in alerts],
        sensors=list(sensors),
        chart=chart,
        daemon=daemon,
        rejected=rejected,
    )
