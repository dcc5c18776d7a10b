"""The document of `alerts`: the active ones, and what became of alerts lately."""

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated, Any

from curewatch.answers.document import (
    SentenceDocument,
    Shape,
    Utc,
    moment,
    says,
    sentence,
    sentence_or_none,
    stamp,
)
from curewatch.clock import iso_utc, utc_from_iso

if TYPE_CHECKING:
    from curewatch.advice.alert.alerts import ActiveAlert, Event
    from curewatch.shed.active_alerts import NumberedAlert
    from curewatch.shed.sent_notices import Sent
    from curewatch.wording import Wording


class AlertDocument(Shape, frozen=True, kw_only=True):
    """An active alert."""

    alert: Annotated[str, says("Kind: peel-ply-needed, recoat-window, condensation, sensor-lost …")]
    subject: Annotated[str, says("The layer or sensor, or empty")]
    since: Annotated[Utc, says("Since (ISO 8601, UTC)")]
    text: Annotated[SentenceDocument, says("What is the matter")]
    advised: Annotated[SentenceDocument | None, says("What to do")]
    due: Annotated[Utc | None, says("When it must be done (ISO 8601, UTC)")]
    meaning: Annotated[
        str, says("What it last rang for, where its kind has several: open, closing …; or empty")
    ]
    acknowledged: Annotated[Utc | None, says("When it was acknowledged (ISO 8601, UTC)")]


class NumberedAlertDocument(AlertDocument, frozen=True, kw_only=True):
    """An active alert, with its number."""

    number: Annotated[int, says("Of the entry that raised it: what --acknowledge takes")]


class AlertEventDocument(Shape, frozen=True, kw_only=True):
    """What happened to an alert."""

    happening: Annotated[str, says("raised, changed (it means something else), acknowledged or cleared")]
    alert: Annotated[str, says("Kind: peel-ply-needed, recoat-window, condensation, sensor-lost …")]
    subject: Annotated[str, says("The layer or sensor, or empty")]
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    text: Annotated[SentenceDocument, says("What is the matter")]
    advised: Annotated[SentenceDocument | None, says("What to do")]
    due: Annotated[Utc | None, says("When it must be done (ISO 8601, UTC)")]
    meaning: Annotated[str, says("What it rang for, where its kind has several; or empty")]


class SentNoticeDocument(Shape, frozen=True, kw_only=True):
    """A notice that was sent."""

    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    to: Annotated[str, says("Name of the receiver: `command`, or of an address")]
    text: Annotated[str, says("Its one line, in the units of the house")]
    again: Annotated[bool, says("It was told before, and nobody had acknowledged it")]


class AlertsDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch alerts`."""

    active: Annotated[list[NumberedAlertDocument], says("The active ones, oldest first")]
    watched: Annotated[
        bool | None, says("Whether a daemon runs that would raise one; null where that is not known")
    ]
    past: Annotated[list[AlertEventDocument], says("With --past: what was raised, acknowledged, cleared")]
    sent: Annotated[
        list[SentNoticeDocument] | None, says("With --sent: the notices that were sent; else null")
    ]


def alerts_document(
    active: "Iterable[NumberedAlert]",
    past: "Iterable[Event]",
    now: float,
    words: "Wording",
    sent: "Iterable[Sent] | None" = None,
    *,
    watched: bool | None,
) -> AlertsDocument:
    """The active alerts as they are `now`, events of the past and notices sent. [UTC s]"""
    return AlertsDocument(
        active=[
            NumberedAlertDocument(number=each.number, **_alert(each.alert, now, words)) for each in active
        ],
        watched=watched,
        past=[_event(each, words) for each in past],
        sent=None if sent is None else [_sent(each) for each in sent],
    )


def _sent(notice: "Sent") -> SentNoticeDocument:
    return SentNoticeDocument(at=iso_utc(notice.at), to=notice.to, text=notice.text, again=notice.again)


def in_order(active: Iterable[AlertDocument], now: float) -> list[AlertDocument]:
    """For a small screen: unacknowledged first, then what is due soonest, then the newest. [UTC s]"""
    return sorted(active, key=lambda alert: _place(alert, now))


def _place(alert: AlertDocument, now: float) -> tuple[bool, float, float]:
    due = moment(alert.due)
    soon = due if due is not None and due >= now else math.inf
    return alert.acknowledged is not None, soon, -utc_from_iso(alert.since)


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
        "meaning": alert.meaning,
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
        meaning=event.meaning,
    )
