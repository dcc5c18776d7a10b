"""The document of `alerts`: the active ones, and what became of alerts lately."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated, Any

from curewatch.answers.document import SentenceDocument, Shape, Utc, says, sentence, sentence_or_none, stamp
from curewatch.clock import iso_utc

if TYPE_CHECKING:
    from curewatch.advice.alert.alerts import ActiveAlert, Event
    from curewatch.shed.active_alerts import NumberedAlert
    from curewatch.wording import Wording


class AlertDocument(Shape, frozen=True, kw_only=True):
    """An active alert."""

    alert: Annotated[str, says("Kind: peel-ply-needed, condensation-coming, sensor-silent …")]
    subject: Annotated[str, says("The layer or sensor, or empty")]
    since: Annotated[Utc, says("Since (ISO 8601, UTC)")]
    text: Annotated[SentenceDocument, says("What is the matter")]
    advised: Annotated[SentenceDocument | None, says("What to do")]
    due: Annotated[Utc | None, says("When it must be done (ISO 8601, UTC)")]
    urgency: Annotated[int, says("0 or more; it rings again when it rises")]
    acknowledged: Annotated[Utc | None, says("When it was acknowledged (ISO 8601, UTC)")]


class NumberedAlertDocument(AlertDocument, frozen=True, kw_only=True):
    """An active alert, with its number."""

    number: Annotated[int, says("Of the entry that raised it: what --acknowledge takes")]


class AlertEventDocument(Shape, frozen=True, kw_only=True):
    """What happened to an alert."""

    happening: Annotated[str, says("raised, renewed (more urgent), acknowledged or cleared")]
    alert: Annotated[str, says("Kind: peel-ply-needed, condensation-coming, sensor-silent …")]
    subject: Annotated[str, says("The layer or sensor, or empty")]
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    text: Annotated[SentenceDocument, says("What is the matter")]
    advised: Annotated[SentenceDocument | None, says("What to do")]
    due: Annotated[Utc | None, says("When it must be done (ISO 8601, UTC)")]
    urgency: Annotated[int, says("0 or more")]


class AlertsDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch alerts`."""

    active: Annotated[list[NumberedAlertDocument], says("The active ones, oldest first")]
    past: Annotated[list[AlertEventDocument], says("With --past: what was raised, acknowledged, cleared")]


def alerts_document(
    active: "Iterable[NumberedAlert]", past: "Iterable[Event]", now: float, words: "Wording"
) -> AlertsDocument:
    """The active alerts as they are `now`, and events of the past. [UTC s]"""
    return AlertsDocument(
        active=[
            NumberedAlertDocument(number=each.number, **_alert(each.alert, now, words)) for each in active
        ],
        past=[_event(each, words) for each in past],
    )


def alert_part(alert: "ActiveAlert", now: float, words: "Wording") -> AlertDocument:
    """An active alert as it is `now`. [UTC s]"""
    return AlertDocument(**_alert(alert, now, words))


def _alert(alert: "ActiveAlert", now: float, words: "Wording") -> dict[str, Any]:
    return {
        "alert": alert.key.kind.value,
        "subject": alert.key.subject,
        "since": iso_utc(alert.since),
        "text": sentence(alert.text, words, now),
        "advised": sentence_or_none(alert.advised, words, now),
        "due": stamp(alert.due),
        "urgency": alert.urgency,
        "acknowledged": stamp(alert.acknowledged),
    }


def _event(event: "Event", words: "Wording") -> AlertEventDocument:
    return AlertEventDocument(
        happening=event.happening.value,
        alert=event.key.kind.value,
        subject=event.key.subject,
        at=iso_utc(event.at),
        text=sentence(event.text, words, event.at),
        advised=sentence_or_none(event.advised, words, event.at),
        due=stamp(event.due),
        urgency=event.urgency,
    )
