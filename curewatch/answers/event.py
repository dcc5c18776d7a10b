"""The document of an event: one line of `ingest`, `replay` and `demo`."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any

from curewatch.answers.document import Shape, Utc, celsius, percent, plain, says
from curewatch.clock import iso_utc
from curewatch.readings import Flag, Reading

if TYPE_CHECKING:
    from curewatch.phrases import Said
    from curewatch.wording import Wording


class EventDocument(Shape, frozen=True, kw_only=True):
    """One line of `curewatch ingest --json` or `curewatch replay --json`."""

    at: Annotated[Utc, says("When it happened (ISO 8601, UTC)")]
    event: Annotated[
        str,
        says(
            "reading, rejected, health, gap, clock, source, sensor, layer, verdict, alert, forecast, seal, store, dropped, daemon, advice, end"
        ),
    ]
    text: Annotated[str, says("In words: degC, grams, 24 hours at the shed")]
    loud: Annotated[bool, says("Somebody should look")]
    detail: Annotated[
        dict[str, Any],
        says("By event; of an entry, its payload (see Entry kinds), of a reading, its values with units"),
    ]


class ReadingDocument(Shape, frozen=True, kw_only=True):
    """The detail of a reading."""

    sensor: Annotated[str, says("Name")]
    time: Annotated[Utc, says("Of the reading (ISO 8601, UTC)")]
    temperature_c: Annotated[float | None, says("Temperature")]
    humidity_percent: Annotated[float | None, says("Relative humidity")]
    flags: Annotated[list[str], says("What is known of its quality")]
    sequence: Annotated[int | None, says("The sensor's own count")]


def event_document(
    kind: str, at: float, text: "Said", detail: Mapping[str, Any], loud: bool, *, words: "Wording"
) -> EventDocument:
    """What happened at a moment [UTC s], told by ``words``."""
    reading = detail.get("reading")
    if not isinstance(reading, Reading):
        return EventDocument(
            at=iso_utc(at), event=kind, text=words.say(text, at), loud=loud, detail=dict(detail)
        )
    told = plain(_reading(reading)) | {key: said for key, said in detail.items() if key == "shed"}
    return EventDocument(at=iso_utc(at), event=kind, text=_said(reading, words), loud=loud, detail=told)


def _reading(reading: Reading) -> ReadingDocument:
    warm, damp = reading.temperature, reading.relative_humidity
    return ReadingDocument(
        sensor=reading.sensor,
        time=iso_utc(reading.time),
        temperature_c=None if warm is None else celsius(warm, 3),
        humidity_percent=None if damp is None else percent(damp, 3),
        flags=[str(flag.name) for flag in Flag if flag and reading.flags & flag],
        sequence=reading.sequence,
    )


def _said(reading: Reading, words: "Wording") -> str:
    parts = [reading.sensor]
    if reading.temperature is not None:
        parts.append(words.temperature(reading.temperature))
    if reading.relative_humidity is not None:
        parts.append(words.percent(reading.relative_humidity))
    return " ".join(parts)
