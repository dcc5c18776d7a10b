"""The document of `watch`."""

from typing import Annotated

from curewatch.answers.document import Shape, Utc, says
from curewatch.answers.parts import AlertDocument, RunningDocument
from curewatch.answers.tonight import TonightDocument


class WatchSensorDocument(Shape, frozen=True, kw_only=True):
    """One of the ``sensor`` of watch."""

    sensor: Annotated[str, says("Name")]
    role: Annotated[str, says("air, surface, outside, or empty")]
    health: Annotated[
        str, says("fresh, late, silent, stuck, saturated, jumping, disagreeing, swapped, never")
    ]
    time: Annotated[Utc | None, says("Of the last reading (ISO 8601, UTC)")]
    temperature_c: Annotated[float | None, says("Last")]
    humidity_percent: Annotated[float | None, says("Last")]


class WatchDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch watch --once`: the board's picture."""

    at: Annotated[Utc, says("When it was looked at (ISO 8601, UTC)")]
    shed: Annotated[str, says("Its name")]
    boat: Annotated[str, says("Its name, or empty")]
    advice: Annotated[
        TonightDocument | None, says("The document of `tonight`, for a start now; null before the first look")
    ]
    running: Annotated[list[RunningDocument], says("Running layers")]
    alerts: Annotated[list[AlertDocument], says("Alerts that stand")]
    sensors: Annotated[list[WatchSensorDocument], says("Each sensor's last word")]
