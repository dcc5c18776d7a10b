"""The document of `sensor-check`."""

from typing import Annotated, Any

from curewatch.answers.document import Shape, Utc, says
from curewatch.answers.parts import CorrectionDocument


class SensorCheckAnswerDocument(Shape, frozen=True, kw_only=True):
    """Over a salt."""

    sensor: Annotated[str, says("Name")]
    readings: Annotated[int, says("Steady readings")]
    steady_from: Annotated[Utc, says("Since when (ISO 8601, UTC)")]
    point: Annotated[
        dict[str, Any], says("A point of the check: salt, temperature, expected, found, uncertainty")
    ]
    points: Annotated[list[dict[str, Any]], says("With earlier ones")]
    outcome: Annotated[str, says("What to do with the chip")]
    correction: Annotated[CorrectionDocument | None, says("Applied to what arrives")]
    due: Annotated[Utc, says("Next check (ISO 8601, UTC)")]
    entry: Annotated[int | None, says("Number in the logbook, null with --drop")]


class AnswerDocument(Shape, frozen=True, kw_only=True):
    """Beside another."""

    sensor: Annotated[str, says("Name")]
    beside: Annotated[str, says("The other")]
    agree: Annotated[bool, says("Within their errors")]
    entry: Annotated[int | None, says("Number in the logbook, null with --drop")]
    pairs: Annotated[int, says("Pairs of readings")]
    temperature: Annotated[float, says("Mean difference, K")]
    relative_humidity: Annotated[float, says("Mean difference, 1")]
    vapour_pressure: Annotated[float, says("Mean difference of its logarithm")]
    temperature_allowed: Annotated[float, says("K")]
    humidity_allowed: Annotated[float, says("1")]
