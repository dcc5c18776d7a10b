"""``curewatch alerts``: which alerts are active, what was advised, and acknowledging one."""

from typing import Annotated

import typer

from curewatch.advice.alert import alerts
from curewatch.answers.alerts import AlertsDocument, alerts_document
from curewatch.answers.standing import standing
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, settings
from curewatch.cli.screens.alerts import lines
from curewatch.cli.terminal import print_json, print_lines
from curewatch.cli.typed import span_from_text
from curewatch.clock import SystemClock
from curewatch.configuration import logbook_path
from curewatch.errors import UsageError
from curewatch.logbook import EntryKind, LogbookStore, open_logbook, watched
from curewatch.shed import active_alerts
from curewatch.shed.active_alerts import numbered
from curewatch.shed.sent_notices import lately
from curewatch.units import DAY
from curewatch.wording import Wording, plain_wording

SENT_LATELY = 7 * DAY  # s


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
    sent: Annotated[
        bool, typer.Option("--sent", help="Also the notices sent in this time, or in the last 7 days.")
    ] = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """The active alerts, with what to do; --acknowledge NUMBER does what the board's key a does.

    An acknowledged alert stays until its cause is gone. It rings again only when its meaning changes.

    Example: curewatch alerts --past "12 h"
    """
    configuration, words = settings(config, units)
    now = SystemClock().now().utc
    since = now if past is None else now - span_from_text(past, "--past")
    path, said = logbook_path(configuration), plain_wording(words.zone)
    if acknowledged and not path.exists():
        raise UsageError(f"--acknowledge: found {acknowledged[0]!r}, and none is active. Use it without")
    if not path.exists():
        none_yet = alerts_document((), (), now, said, () if sent else None, watched=False)
        _show(none_yet, words, now, json=json)
        return
    with open_logbook(path, read_only=not acknowledged) as logbook:
        if acknowledged:
            _acknowledge(logbook, acknowledged, by, now, said)
        entries = logbook.entries(EntryKind.ALERT, start=since)
        recent = tuple(alerts.events_told(entry.payload for entry in entries))
        notices = lately(logbook, since if past else now - SENT_LATELY) if sent else None
        stands = standing(logbook, configuration, now)
        document = alerts_document(stands, recent if past else (), now, said, notices, watched=watched(path))
    _show(document, words, now, json=json)


def _show(document: AlertsDocument, words: Wording, now: float, *, json: bool) -> None:
    print_json(document) if json else print_lines(lines(document, words, now))


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
            f"--acknowledge: found {strange[0]!r}. Use all, or a number of an active alert: {there}"
        )
    active_alerts.acknowledge(logbook, [stands[number] for number in wanted], by, now, plainly)
