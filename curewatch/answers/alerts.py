"""The document of `alerts`."""

from typing import Annotated

from curewatch.answers.document import Shape, Utc, says


class ActiveAlertDocument(Shape, frozen=True, kw_only=True):
    """One of the ``active`` of alerts."""

    number: Annotated[int, says("Of the entry that raised it: what --acknowledge takes")]
    alert: Annotated[str, says("Kind")]
    subject: Annotated[str, says("The layer or sensor, or empty")]
    since: Annotated[Utc, says("Since (ISO 8601, UTC)")]
    text: Annotated[str, says("What is the matter, in words: degC, kelvin, grams, 24 hours at the shed")]
    advised: Annotated[str, says("What to do")]
    words: Annotated[
        dict[str, str],
        says("The same texts with their numbers left open: {name:quantity}, or {name} for text"),
    ]
    numbers: Annotated[
        dict[str, float | str],
        says(
            "What stands in the open places: kelvin, kilograms, fractions, seconds, UTC seconds; text as it is"
        ),
    ]
    due: Annotated[Utc | None, says("When it must be done (ISO 8601, UTC)")]
    acknowledged: Annotated[Utc | None, says("When it was acknowledged (ISO 8601, UTC)")]


class AlertsPastDocument(Shape, frozen=True, kw_only=True):
    """What happened to an alert."""

    happening: Annotated[str, says("raised, renewed (more urgent), acknowledged or cleared")]
    alert: Annotated[str, says("Kind")]
    subject: Annotated[str, says("The layer or sensor, or empty")]
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    text: Annotated[str, says("What is the matter, in words: degC, kelvin, grams, 24 hours at the shed")]
    advised: Annotated[str, says("What to do")]
    words: Annotated[
        dict[str, str],
        says("The same texts with their numbers left open: {name:quantity}, or {name} for text"),
    ]
    numbers: Annotated[
        dict[str, float | str],
        says(
            "What stands in the open places: kelvin, kilograms, fractions, seconds, UTC seconds; text as it is"
        ),
    ]
    due: Annotated[Utc | None, says("When it must be done (ISO 8601, UTC)")]
    urgency: Annotated[int, says("0 or more")]


class AlertsDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch alerts`."""

    active: Annotated[list[ActiveAlertDocument], says("Those that are active")]
    past: Annotated[list[AlertsPastDocument], says("With --past: what was raised, acknowledged and cleared")]
