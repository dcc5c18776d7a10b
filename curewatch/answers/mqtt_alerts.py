"""The document of `mqtt-alerts`."""

from typing import Annotated, Literal

from curewatch.answers.document import Shape, Utc, says
from curewatch.answers.parts import AlertDocument


class MqttAlertsMomentDocument(Shape, frozen=True, kw_only=True):
    """One of the ``moment`` of mqtt alerts."""

    early: Annotated[Utc | None, says("Early (ISO 8601, UTC)")]
    likely: Annotated[Utc | None, says("Likely (ISO 8601, UTC)")]
    late: Annotated[Utc | None, says("Late (ISO 8601, UTC)")]


class MqttAlertsLayerDocument(Shape, frozen=True, kw_only=True):
    """One of the ``layer`` of mqtt alerts."""

    layer: Annotated[str, says("Name")]
    resin: Annotated[str, says("Resin system")]
    started: Annotated[Utc, says("Mixed (ISO 8601, UTC)")]
    stage: Annotated[str, says("Where it stands")]
    conversion: Annotated[float, says("0 to 1")]
    moments: Annotated[dict[str, MqttAlertsMomentDocument], says("By name")]


class MqttAlertsDocument(Shape, frozen=True, kw_only=True):
    """Published as PREFIX/alerts."""

    version: Annotated[Literal[1], says("Raised when a key changes its meaning")]
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    alerts: Annotated[list[AlertDocument], says("Those that are active")]
    layers: Annotated[list[MqttAlertsLayerDocument], says("In progress")]
