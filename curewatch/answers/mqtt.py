"""The documents that are told to others over MQTT: retained, under the source's own prefix.

PREFIX/daemon   {"running": true, "since": …}          running false is the broker's, by our will
PREFIX/state    sensors with their last values, health and age; sources; the clock
PREFIX/advice   the answer, as `curewatch tonight --json` gives it
PREFIX/seal     the code of the last seal: on another machine it proves later that nothing changed
PREFIX/alerts   the active alerts, and running layers with their times
"""

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Annotated, Any, Literal

from msgspec import Meta

from curewatch.answers.alerts import AlertDocument, alert_part
from curewatch.answers.document import Shape, Utc, says, stamp
from curewatch.answers.layer import RunningLayerDocument, running_layer_part
from curewatch.answers.sensor import SensorStateDocument
from curewatch.clock import iso_utc

if TYPE_CHECKING:
    from curewatch.advice.alert.alerts import ActiveAlert
    from curewatch.logbook import StoredEntry
    from curewatch.shed.look import RunningLayer
    from curewatch.wording import Wording

Version = Annotated[Literal[1], says("Raised when a key changes its meaning")]


class SourceDocument(Shape, frozen=True, kw_only=True):
    """One port or broker."""

    up: Annotated[bool, says("Whether it answers")]
    reason: Annotated[str, says("Why not, or empty")]


class MqttStateDocument(Shape, frozen=True, kw_only=True):
    """Published as PREFIX/state."""

    version: Version
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    clock_believed: Annotated[bool, says("Whether the machine's clock is believed")]
    sensors: Annotated[dict[str, SensorStateDocument], says("By name")]
    sources: Annotated[dict[str, SourceDocument], says("By name")]


class MqttAlertsDocument(Shape, frozen=True, kw_only=True):
    """Published as PREFIX/alerts."""

    version: Version
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    alerts: Annotated[list[AlertDocument], says("The active ones")]
    layers: Annotated[list[RunningLayerDocument], says("In progress")]


class MqttSealDocument(Shape, frozen=True, kw_only=True):
    """Published as PREFIX/seal: the code of the last seal, of a day or of a closed job."""

    version: Version
    at: Annotated[Utc, says("When it was sealed (ISO 8601, UTC)")]
    code: Annotated[
        Annotated[str, Meta(pattern="^[0-9A-Z]{4}(-[0-9A-Z]{4}){6}$")],
        says("The seal code: `logbook verify --code` proves with it that nothing before changed"),
    ]
    reason: Annotated[Literal["day", "job-close", "record"], says("What it was made for")]
    job: Annotated[str | None, says("The job that was closed")]


class MqttDaemonDocument(Shape, frozen=True, kw_only=True):
    """Published as PREFIX/daemon; with running false it is left with the broker as the daemon's will."""

    version: Version
    running: Annotated[bool, says("Whether it runs")]
    since: Annotated[
        Utc | None, says("Since (ISO 8601, UTC); null in the will, which cannot know when it is read out")
    ]


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
        job=sealed.job,
    )


def mqtt_daemon_document(running: bool, at: float | None) -> MqttDaemonDocument:
    """Whether the daemon runs, and since when; null in our will, which cannot know when that is. [UTC s]"""
    return MqttDaemonDocument(version=1, running=running, since=stamp(at))
