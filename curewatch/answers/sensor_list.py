"""The document of `sensor-list`."""

from typing import Annotated

from curewatch.answers.document import Shape, Utc, says
from curewatch.answers.parts import CorrectionDocument


class SensorListSensorDocument(Shape, frozen=True, kw_only=True):
    """One of the ``sensor`` of sensor list."""

    sensor: Annotated[str, says("Name")]
    role: Annotated[str | None, says("air, surface, outside")]
    part: Annotated[str, says("Class of chip")]
    state: Annotated[str, says("fresh, late, silent, stuck, saturated, jumping, disagreeing, swapped, never")]
    seen: Annotated[str, says("Why")]
    time: Annotated[Utc | None, says("Of the last reading (ISO 8601, UTC)")]
    temperature_c: Annotated[float | None, says("Last")]
    humidity_percent: Annotated[float | None, says("Last")]
    battery_percent: Annotated[float | None, says("Last")]
    correction: Annotated[CorrectionDocument | None, says("Applied to what arrives")]
    checked: Annotated[Utc | None, says("Last salt check (ISO 8601, UTC)")]
    due: Annotated[Utc | None, says("Next one (ISO 8601, UTC)")]


class SensorListDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch sensor list`."""

    now: Annotated[Utc, says("Now (ISO 8601, UTC)")]
    sensors: Annotated[list[SensorListSensorDocument], says("Sensors")]
