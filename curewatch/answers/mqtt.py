"""What is told to others over MQTT: retained, under ``PREFIX/v1/``, apart from what comes in.

availability    the word online or offline; offline is the broker's, by our will
state           sensors with their last values, health and age; sources; the clock
advice          the answer, as `curewatch tonight --json` gives it
seal            the code of the last seal: on another machine it proves later that nothing changed
alerts          the active alerts, and running layers with their times
values/NAME     dew_point_c, margin_k, verdict, chance: a plain number or word; unknown where it cannot be told
senml           the same values as one pack of RFC 8428
"""

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Annotated, Any, Literal

from msgspec import Meta

from curewatch.answers.alerts import AlertDocument, alert_part
from curewatch.answers.document import Shape, Utc, says
from curewatch.answers.layer import RunningLayerDocument, running_layer_part
from curewatch.answers.sensor import SensorStateDocument
from curewatch.clock import iso_utc

if TYPE_CHECKING:
    from curewatch.advice.alert.alerts import ActiveAlert
    from curewatch.logbook import StoredEntry
    from curewatch.shed.look import RunningLayer
    from curewatch.wording import Wording

ONLINE, OFFLINE = "online", "offline"  # on the topic of availability
UNKNOWN = "unknown"  # a plain value that cannot be told


def out(prefix: str, topic: str = "") -> str:
    """A topic of ours under a source's prefix: v1, raised when what stands there changes its meaning."""
    return f"{prefix}/v1/{topic}"


Version = Annotated[Literal[1], says("Raised when a key changes its meaning")]


class SourceDocument(Shape, frozen=True, kw_only=True):
    """One port or broker."""

    up: Annotated[bool, says("Whether it answers")]
    reason: Annotated[str, says("Why not, or empty")]


class MqttStateDocument(Shape, frozen=True, kw_only=True):
    """Published as PREFIX/v1/state."""

    version: Version
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    clock_believed: Annotated[bool, says("Whether the machine's clock is believed")]
    sensors: Annotated[dict[str, SensorStateDocument], says("By name")]
    sources: Annotated[dict[str, SourceDocument], says("By name")]


class MqttAlertsDocument(Shape, frozen=True, kw_only=True):
    """Published as PREFIX/v1/alerts."""

    version: Version
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    alerts: Annotated[list[AlertDocument], says("The active ones")]
    layers: Annotated[list[RunningLayerDocument], says("In progress")]


class MqttSealDocument(Shape, frozen=True, kw_only=True):
    """Published as PREFIX/v1/seal: the code of the last seal, of a day or of a closed job."""

    version: Version
    at: Annotated[Utc, says("When it was sealed (ISO 8601, UTC)")]
    code: Annotated[
        Annotated[str, Meta(pattern="^[0-9A-Z]{4}(-[0-9A-Z]{4}){6}$")],
        says("The seal code: `logbook verify --code` proves with it that nothing before changed"),
    ]
    reason: Annotated[Literal["day", "job-close", "record"], says("What it was made for")]


def mqtt_state_document(
    sensors: Mapping[str, SensorStateDocument],
    sources: Mapping[str, str],
    now: float,
    *,
    clock_believed: bool,
) -> MqttStateDocument:
    """The present state; a source has the reason why it does not answer, or none. [UTC s]"""
    return MqttStateDocument(
        version=1,
        at=iso_utc(now),
        clock_believed=clock_believed,
        sensors=dict(sensors),
        sources={name: SourceDocument(up=not reason, reason=reason) for name, reason in sources.items()},
    )


def mqtt_alerts_document(
    alerts: "Iterable[ActiveAlert]", running: "Iterable[RunningLayer]", now: float, words: "Wording"
) -> MqttAlertsDocument:
    """The active alerts as they are `now`, and the layers in progress, each with its moments. [UTC s]"""
    return MqttAlertsDocument(
        version=1,
        at=iso_utc(now),
        alerts=[alert_part(alert, now, words) for alert in alerts],
        layers=[running_layer_part(each) for each in running],
    )


def mqtt_seal_document(sealed: "StoredEntry") -> MqttSealDocument:
    """The code of a seal, away from this machine: a rewritten logbook cannot have it."""
    payload: Mapping[str, Any] = sealed.payload
    return MqttSealDocument(
        version=1,
        at=iso_utc(sealed.at),
        code=str(payload.get("code", "")),
        reason=payload.get("reason", ""),
    )
