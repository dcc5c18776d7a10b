"""The few numbers that others want without a document: dew point, margin, verdict, chance.

Each is published plainly, one topic a value, and all of them as one SenML pack. What cannot be told is the
word ``unknown``, so that nobody goes on with a number of yesterday.
"""

from typing import TYPE_CHECKING, Annotated, Any, Literal

from curewatch.answers.document import Shape, Utc, says, stamp
from curewatch.answers.mqtt import UNKNOWN
from curewatch.answers.tonight import at_border
from curewatch.clock import utc_from_iso

if TYPE_CHECKING:
    from curewatch.advice.judge.answer import Advice
    from curewatch.advice.judge.situation import Situation

BASE = "urn:curewatch:"  # of the names in a SenML pack


class ValuesDocument(Shape, frozen=True, kw_only=True):
    """What a start now rests on, in four values."""

    at: Annotated[Utc, says("When it was said (ISO 8601, UTC)")]
    verdict: Annotated[Literal["go", "no-go", "unknown"], says("The answer; unknown is never go")]
    chance: Annotated[float | None, says("That every check holds until it sets, 0 to 1")]
    dew_point_c: Annotated[float | None, says("Of the air at the work; null where it cannot be told")]
    margin_k: Annotated[float | None, says("Surface above dew point; null where it cannot be told")]


def values_document(advice: "Advice", situation: "Situation") -> ValuesDocument:
    """The values of one look; a stale or doubted reading gives none."""
    from curewatch.advice.judge.answer import Status
    from curewatch.physics import moist_air

    found = next((one for one in advice.checks if one.name == "condensation-now"), None)
    margin = None if found is None or found.status is Status.UNKNOWN else found.value
    air, dew_point = situation.air, None
    if margin is not None and air is not None and air.relative_humidity and air.temperature is not None:
        pressure = air.relative_humidity * moist_air.saturation_pressure(air.temperature)
        dew_point = float(moist_air.dew_point(pressure))
    return ValuesDocument(
        at=stamp(advice.at) or "",
        verdict=advice.verdict.value,
        chance=None if advice.verdict.value == UNKNOWN else at_border("number", advice.probability),
        dew_point_c=at_border("temperature", dew_point),
        margin_k=at_border("difference", margin),
    )


NAMES = ("dew_point_c", "margin_k", "verdict", "chance")


def plain_values(values: ValuesDocument) -> dict[str, str]:
    """Each value by its name, as text."""
    found = {name: getattr(values, name) for name in NAMES}
    return {name: UNKNOWN if value is None else str(value) for name, value in found.items()}


def senml_pack(values: ValuesDocument) -> list[dict[str, Any]]:
    """The values as one pack of RFC 8428; what cannot be told has no record."""
    base = {"bn": BASE, "bt": utc_from_iso(values.at)}
    records: list[dict[str, Any]] = [{"n": "verdict", "vs": values.verdict}]
    for name, unit, value in (
        ("dew_point", "Cel", values.dew_point_c),
        ("margin", "K", values.margin_k),
        ("chance", "/", values.chance),
    ):
        if value is not None:
            records.append({"n": name, "u": unit, "v": value})
    return [base | records[0], *records[1:]]
