"""Alerts as lines of text: the active ones with what to do, and what became of alerts lately."""

from curewatch.answers.alerts import (
    AlertEventDocument,
    AlertsDocument,
    NumberedAlertDocument,
    SentNoticeDocument,
)
from curewatch.answers.document import moment
from curewatch.clock import utc_from_iso
from curewatch.safe_text import safe_line
from curewatch.wording import Wording

UNWATCHED = "Nobody watches: no daemon runs to raise an alert. Use `curewatch watch`"


def lines(alerts: AlertsDocument, words: Wording, now: float) -> list[str]:
    """One alert in two lines: what is the matter since when, and what to do."""
    past = [
        "",
        "Raised, acknowledged and cleared, oldest first:",
        *(_happened(each, words, now) for each in alerts.past),
    ]
    sent = [] if alerts.sent is None else _notices(alerts.sent, words, now)
    unwatched = [UNWATCHED] if alerts.watched is False else []
    return [*_active(alerts.active, words, now), *unwatched, *(past if alerts.past else []), *sent]


def _active(alerts: list[NumberedAlertDocument], words: Wording, now: float) -> list[str]:
    told = []
    for each in alerts:
        due, when = moment(each.due), moment(each.acknowledged)
        left = "" if due is None else f", {words.left(due, now)}"
        text = safe_line(words.say(each.text, now)) + left
        acknowledged = "" if when is None else f" (acknowledged {words.moment(when, now)})"
        since = words.moment(utc_from_iso(each.since), now)
        told.append(f"{each.number:5}  {since}  {text}{acknowledged}")
        if each.advised is not None:
            told.append(f"       {safe_line(words.say(each.advised, now))}")
    if not told:
        return ["no alert is active"]
    waiting = [str(each.number) for each in alerts if each.acknowledged is None]
    return [*told, *([f"To acknowledge: curewatch alerts --acknowledge {waiting[0]}"] if waiting else [])]


def _happened(each: AlertEventDocument, words: Wording, now: float) -> str:
    when = words.moment(utc_from_iso(each.at), now)
    return f"  {when}  {each.happening}: {safe_line(words.say(each.text, now))}"


def _notices(sent: list[SentNoticeDocument], words: Wording, now: float) -> list[str]:
    if not sent:
        return ["", "no notice was sent in this time"]
    return ["", "Notices sent, oldest first:", *(_sent(each, words, now) for each in sent)]


def _sent(each: SentNoticeDocument, words: Wording, now: float) -> str:
    when = words.moment(utc_from_iso(each.at), now)
    return f"  {when}  {safe_line(each.to)}: {safe_line(each.text)}"
