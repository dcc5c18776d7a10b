"""The documents of `sensor`: every one with its health, and a check of one over a salt or beside another."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated, Literal

from curewatch.answers.document import (
    SentenceDocument,
    Shape,
    Utc,
    celsius,
    code,
    percent,
    says,
    sentence,
    stamp,
)
from curewatch.clock import iso_utc

if TYPE_CHECKING:
    from curewatch.materials.sensor_part import SensorPart
    from curewatch.readings import Reading
    from curewatch.shed.corrections import Correction
    from curewatch.shed.health import SensorHealth, TrackPoint
    from curewatch.shed.salt_check import Beside, CheckOutcome, CorrectionLine, SaltPoint, Settled
    from curewatch.wording import Wording


class SensorStateDocument(Shape, frozen=True, kw_only=True):
    """One sensor: its last word and how it is."""

    sensor: Annotated[str, says("Name")]
    role: Annotated[str | None, says("air, surface, outside, layer, cup; null where nobody gave it one")]
    health: Annotated[
        str, says("fresh, late, silent, stuck, saturated, jumping, disagreeing, swapped, never-reported")
    ]
    reason: Annotated[SentenceDocument, says("What makes one think so")]
    time: Annotated[Utc | None, says("Of the last reading (ISO 8601, UTC); null where there is none")]
    age_s: Annotated[float | None, says("Its age when this was said")]
    temperature_c: Annotated[float | None, says("Last")]
    humidity_percent: Annotated[float | None, says("Last")]


class CorrectionDocument(Shape, frozen=True, kw_only=True):
    """How a humidity is put right: offset + gain x what the sensor reads."""

    offset_percent: Annotated[float, says("Added")]
    gain: Annotated[float, says("Times")]


class ListedSensorDocument(SensorStateDocument, frozen=True, kw_only=True):
    """One sensor of the list."""

    part: Annotated[str, says("Class of sensor")]
    measures_humidity: Annotated[bool, says("Whether it can be checked over a salt")]
    battery_percent: Annotated[float | None, says("Last")]
    correction: Annotated[CorrectionDocument | None, says("Applied to what arrives")]
    checked: Annotated[Utc | None, says("Last salt check (ISO 8601, UTC)")]
    due: Annotated[Utc | None, says("Next one (ISO 8601, UTC)")]


class SensorListDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch sensor list`."""

    at: Annotated[Utc, says("When it was looked at (ISO 8601, UTC)")]
    sensors: Annotated[list[ListedSensorDocument], says("Sensors")]


class SaltPointDocument(Shape, frozen=True, kw_only=True):
    """What one salt showed."""

    salt: Annotated[str, says("Formula")]
    salt_name: Annotated[str, says("Name")]
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    temperature_c: Annotated[float, says("Of the jar")]
    expected_percent: Annotated[float, says("What the air over this salt holds")]
    found_percent: Annotated[float, says("What the sensor reads, without correction")]
    uncertainty_percent: Annotated[float, says("Of the difference, one standard deviation")]


class SaltCheckDocument(Shape, frozen=True, kw_only=True):
    """Over a salt."""

    sensor: Annotated[str, says("Name")]
    readings: Annotated[int, says("Steady readings")]
    steady_from: Annotated[Utc, says("Since when (ISO 8601, UTC)")]
    point: Annotated[SaltPointDocument, says("This check")]
    points: Annotated[list[SaltPointDocument], says("With earlier ones")]
    outcome: Annotated[
        Literal["second-salt", "right", "corrected", "replace"],
        says("second-salt: one more is needed; replace: it is too far off to be corrected"),
    ]
    correction: Annotated[CorrectionDocument | None, says("Applied to what arrives")]
    due: Annotated[Utc, says("Next check (ISO 8601, UTC)")]
    entry: Annotated[int | None, says("Number in the logbook, null with --drop")]


class BesideDocument(Shape, frozen=True, kw_only=True):
    """Beside another: one less the other."""

    sensor: Annotated[str, says("Name")]
    beside: Annotated[str, says("The other")]
    agree: Annotated[bool, says("Within their errors")]
    entry: Annotated[int | None, says("Number in the logbook; null where it was not kept")]
    pairs: Annotated[int, says("Pairs of readings")]
    temperature_difference_k: Annotated[float, says("Mean")]
    humidity_difference_percent: Annotated[float | None, says("Mean, in per cent of relative humidity")]
    vapour_difference_percent: Annotated[float | None, says("Mean, of the water in the air")]
    temperature_allowed_k: Annotated[float, says("What two such parts may differ by")]
    humidity_allowed_percent: Annotated[float | None, says("What two such parts may differ by")]


def sensor_state_part(
    role: str, health: "SensorHealth", last: "Reading | TrackPoint | None", now: float, words: "Wording"
) -> SensorStateDocument:
    """One sensor at ``now`` [UTC s]; an empty role is none."""
    return SensorStateDocument(
        sensor=health.sensor,
        role=role or None,
        health=code(health.health.value),
        reason=sentence(health.reason, words, now),
        time=None if last is None else stamp(last.time),
        age_s=None if last is None else round(now - last.time, 1),
        temperature_c=None if last is None or last.temperature is None else celsius(last.temperature),
        humidity_percent=(
            None if last is None or last.relative_humidity is None else percent(last.relative_humidity)
        ),
    )


def listed_sensor_part(
    state: SensorStateDocument,
    part: "SensorPart",
    battery: float | None,
    *,
    correction: "Correction | None" = None,
    checked: float | None = None,
    due: float | None = None,
) -> ListedSensorDocument:
    """One sensor of the list: its battery [1], its last check over a salt and the next one [UTC s]."""
    return ListedSensorDocument(
        **{key: getattr(state, key) for key in state.__struct_fields__},
        part=part.name,
        measures_humidity=part.relative_humidity_sd is not None,
        battery_percent=None if battery is None else percent(battery),
        correction=None if correction is None else _correction(correction.offset, correction.gain),
        checked=stamp(checked),
        due=stamp(due),
    )


def sensor_list_document(sensors: Iterable[ListedSensorDocument], now: float) -> SensorListDocument:
    return SensorListDocument(at=iso_utc(now), sensors=list(sensors))


def salt_check_document(
    sensor: str,
    settled: "Settled",
    point: "SaltPoint",
    points: "Iterable[SaltPoint]",
    *,
    outcome: "CheckOutcome",
    line: "CorrectionLine | None",
) -> SaltCheckDocument:
    """What a check showed, with the points of earlier ones, and what follows; not yet written down."""
    from curewatch.shed.salt_check import AGAIN

    return SaltCheckDocument(
        sensor=sensor,
        readings=settled.readings,
        steady_from=iso_utc(settled.start),
        point=_point(point),
        points=[_point(each) for each in points],
        outcome=outcome.value,
        correction=None if line is None else _correction(line.offset, line.gain),
        due=iso_utc(point.at + AGAIN),
        entry=None,
    )


def beside_document(sensor: str, beside: str, found: "Beside", entry: int | None) -> BesideDocument:
    """How two sensors differ that lie side by side."""
    return BesideDocument(
        sensor=sensor,
        beside=beside,
        agree=found.agree,
        entry=entry,
        pairs=found.pairs,
        temperature_difference_k=round(found.temperature, 3),
        humidity_difference_percent=None
        if found.relative_humidity is None
        else percent(found.relative_humidity),
        vapour_difference_percent=None if found.vapour_pressure is None else percent(found.vapour_pressure),
        temperature_allowed_k=round(found.temperature_allowed, 3),
        humidity_allowed_percent=None if found.humidity_allowed is None else percent(found.humidity_allowed),
    )


def _correction(offset: float, gain: float) -> CorrectionDocument:
    return CorrectionDocument(offset_percent=percent(offset, 4), gain=gain)


def _point(point: "SaltPoint") -> SaltPointDocument:
    from curewatch.physics.saturated_salts import SALTS

    return SaltPointDocument(
        salt=point.salt,
        salt_name=SALTS[point.salt].name.split(" (")[0],
        at=iso_utc(point.at),
        temperature_c=celsius(point.temperature),
        expected_percent=percent(point.expected),
        found_percent=percent(point.found),
        uncertainty_percent=percent(point.uncertainty),
    )
