"""``curewatch alerts``: which alerts are active, what was advised, and acknowledging one."""

from typing import Annotated, Any

import typer

from curewatch.advice.alert import alerts
from curewatch.advice.alert.alerts import Event
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, settings
from curewatch.cli.safe_text import safe_line
from curewatch.cli.terminal import print_json, print_lines
from curewatch.cli.typed import span_from_text
from curewatch.clock import SystemClock
from curewatch.configuration import logbook_path
from curewatch.errors import UsageError
from curewatch.logbook import Entry, EntryKind, LogbookStore, open_logbook
from curewatch.shed.active_alerts import NumberedAlert, numbered
from curewatch.wording import Wording, plain_wording


def app(
    *,
    acknowledged: Annotated[
        list[str] | None,
        typer.Option("--acknowledge", metavar="NUMBER", help="Acknowledge it; `all` for all. Repeatable."),
    ] = None,
    by: Annotated[str | None, typer.Option("--by", help="Who acknowledges it.", show_default=False)] = None,
    past: Annotated[
        str | None,
        typer.Option("--past", metavar="SPAN", help="Also what was raised in this time: 12 h."),
    ] = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """The active alerts, with what to do; --acknowledge NUMBER does what the board's key a does.

    An acknowledged alert stays until its cause is gone, and sounds again only when it becomes more urgent.

    Example: curewatch alerts --past "12 h"
    """
    configuration, words = settings(config, units)
    now = SystemClock().now().utc
    since = now if past is None else now - span_from_text(past, "--past")
    if by and not acknowledged:
        raise UsageError("--by says who acknowledges an alert; give --acknowledge NUMBER, too")
    path = logbook_path(configuration)
    if not path.exists():
        _told((), (), words, now, json=json)
        return
    with open_logbook(path, read_only=not acknowledged) as logbook:
        if acknowledged:
            _acknowledge(logbook, acknowledged, by, now, plain_wording(words.zone))
        entries = logbook.entries(EntryKind.ALERT, start=since)
        recent = tuple(alerts.events_told(entry.payload for entry in entries))
        _told(numbered(logbook), recent if past else (), words, now, json=json)


def _acknowledge(
    logbook: LogbookStore, numbers: list[str], by: str | None, now: float, plainly: Wording
) -> None:
    """Write down that these were acknowledged; the daemon takes it up within seconds.

    Raises
    ------
    UsageError
        No alert of such a number is active.
    """
    stands = {str(each.number): each.alert for each in numbered(logbook)}
    wanted = list(stands) if "all" in numbers else numbers
    strange = [number for number in wanted if number not in stands]
    if strange:
        there = ", ".join(stands) or "none is active"
        raise UsageError(
            f"--acknowledge {strange[0]!r}; allowed: all, or a number of an active alert: {there}"
        )
    state = {active.key: active for active in stands.values()}
    for number in wanted:
        state_after, events = alerts.acknowledge(state, stands[number].key, now)
        state = dict(state_after)
        who = {"by": by} if by else {}
        stored = [alerts.event_as_plain(event, plainly) | who for event in events]
        logbook.append(entries=[Entry(EntryKind.ALERT, each, now) for each in stored])


def _told(
    active: tuple[NumberedAlert, ...], past: tuple[Event, ...], words: Wording, now: float, *, json: bool
) -> None:
    plainly = plain_wording(words.zone)
    if json:
        print_json(
            {
                "active": [_plain(each, now, plainly) for each in active],
                "past": [alerts.event_as_plain(event, plainly) for event in past],
            }
        )
        return
    print_lines([*lines(active, words, now), *_past_lines(past, words, now)])


def _plain(each: NumberedAlert, now: float, plainly: Wording) -> dict[str, Any]:
    return {"number": each.number} | alerts.active_as_plain(each.alert, now, plainly)


def lines(active: tuple[NumberedAlert, ...], words: Wording, now: float) -> list[str]:
    """One alert in two lines: what is the matter since when, and what to do."""
    told = []
    for number, alert in active:
        left = "" if alert.due is None else f", {words.left(alert.due, now)}"
        text = safe_line(words.say(alert.text, now)) + left
        when = alert.acknowledged
        known = "" if when is None else f" (acknowledged {words.moment(when, now)})"
        told.append(f"{number:5}  {words.moment(alert.since, now)}  {text}{known}")
        if alert.advised:
            told.append(f"       {safe_line(words.say(alert.advised, now))}")
    if not told:
        return ["no alert is active"]
    unacknowledged = [str(each.number) for each in active if each.alert.acknowledged is None]
    return [
        *told,
        *([f"To acknowledge: curewatch alerts --acknowledge {unacknowledged[0]}"] if unacknowledged else []),
    ]


def _past_lines(past: tuple[Event, ...], words: Wording, now: float) -> list[str]:
    rows = [
        f"  {words.moment(each.at, now)}  {each.happening}: {safe_line(words.say(each.text, now))}"
        for each in past
    ]
    return ["", "Raised, acknowledged and cleared, oldest first:", *rows] if rows else []
