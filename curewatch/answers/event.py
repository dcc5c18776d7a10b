"""The document of `event`."""

from typing import Annotated, Any

from curewatch.answers.document import Shape, Utc, says


class EventDocument(Shape, frozen=True, kw_only=True):
    """One line of `curewatch ingest --json` or `curewatch replay --json`."""

    at: Annotated[Utc, says("When it happened (ISO 8601, UTC)")]
    event: Annotated[
        str,
        says(
            "reading, rejected, health, gap, clock, source, sensor, layer, verdict, alert, forecast, seal, store, dropped, daemon, advice, end"
        ),
    ]
    text: Annotated[str, says("In words: degC, kelvin, grams, 24 hours at the shed")]
    loud: Annotated[bool, says("Somebody should look")]
    detail: Annotated[dict[str, Any], says("By event; of an entry, its payload (see Entry kinds)")]
