"""The document of `mqtt-state`."""

from typing import Annotated, Literal

from msgspec import UNSET, UnsetType

from curewatch.answers.document import Shape, Utc, says


class MqttStateSensorDocument(Shape, frozen=True, kw_only=True):
    """One of the ``sensor`` of mqtt state."""

    health: Annotated[
        str, says("fresh, late, silent, stuck, saturated, jumping, disagreeing, swapped, never")
    ]
    reason: Annotated[str, says("Why")]
    time: Annotated[Utc, says("Of the last reading (ISO 8601, UTC)")] | UnsetType = UNSET
    age_s: Annotated[float, says("Its age")] | UnsetType = UNSET
    temperature_c: Annotated[float | None, says("Last")] | UnsetType = UNSET
    humidity_percent: Annotated[float | None, says("Last")] | UnsetType = UNSET


class MqttStateSourceDocument(Shape, frozen=True, kw_only=True):
    """One of the ``source`` of mqtt state."""

    up: Annotated[bool, says("Whether it answers")]
    reason: Annotated[str, says("Why not, or empty")]


class MqttStateDocument(Shape, frozen=True, kw_only=True):
    """Published as PREFIX/state."""

    version: Annotated[Literal[1], says("Raised when a key changes its meaning")]
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    clock_believed: Annotated[bool, says("Whether the machine's clock is believed")]
    sensors: Annotated[dict[str, MqttStateSensorDocument], says("By name")]
    sources: Annotated[dict[str, MqttStateSourceDocument], says("By name")]
