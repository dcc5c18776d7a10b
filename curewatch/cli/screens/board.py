"""The board: a pure function of what is known and what time it is, as rows of styled text.

Read from two metres: the verdict and the next deadline in letters five rows high. Nearer: why, the
chart, the alerts, the sensors. Nothing is told by colour alone, so that every terminal will do.
"""

import math
from typing import NamedTuple

from rich.text import Text

from curewatch.answers.alerts import AlertDocument
from curewatch.answers.document import moment, spoken
from curewatch.answers.layer import RunningLayerDocument
from curewatch.answers.sensor import SensorStateDocument
from curewatch.answers.tonight import CheckDocument
from curewatch.answers.watch import WatchDocument
from curewatch.cli.safe_text import safe_line
from curewatch.cli.screens.chart import chart_rows
from curewatch.cli.screens.large import large, large_width
from curewatch.cli.screens.layer import stage
from curewatch.clock import utc_from_iso
from curewatch.units import HOUR, MINUTE
from curewatch.wording import Wording, day, duration

INK = {"go": "█", "no-go": "█", "unknown": "▒"}
COLOUR = {"go": "bold green", "no-go": "bold red", "unknown": "bold"}
WORD = {"holds": "holds", "care": "CARE", "fails": "FAILS", "unknown": "UNKNOWN"}
WORD_COLOUR = {"holds": "", "care": "bold", "fails": "bold red", "unknown": "bold"}
WORST_FIRST = ["fails", "unknown", "care", "holds"]
WIDE = 110  # columns from which the chart stands beside the reasons
SMALL = 20  # rows below which there is no chart
LARGE_FROM = 10  # rows from which the verdict is written large


class Deadline(NamedTuple):
    """The next moment that somebody must act on: a beginning when it is likely, an end when it may be."""

    due: float  # UTC [s]
    text: str
    layer: str


# moment -> (what to say, which part of its band counts: the same as in the alerts)
DEADLINES = {
    "laminate-from": ("laminate again from", "likely"),
    "laminate-before": ("laminate again before", "early"),
    "tack-free": ("tack-free by", "late"),
    "ready-to-sand": ("ready to sand from", "late"),
}


def next_deadline(running: list[RunningLayerDocument], now: float) -> Deadline | None:
    """The soonest deadline of any layer still to come."""
    found = [
        Deadline(due, words, each.layer)
        for each in running
        for coming in each.timeline
        if coming.name in DEADLINES
        for words, end in (DEADLINES[coming.name],)
        if (due := moment(getattr(coming, end))) is not None and due > now
    ]
    return min(found, default=None)


def board(state: WatchDocument, now: float, words: Wording, width: int, height: int) -> list[Text]:
    """Exactly ``height`` rows, none wider than ``width``."""
    head = _head(state, now, words, width, height)
    foot = _foot(state, now, words, width)
    room = height - len(head) - len(foot)
    body = (_wide if width >= WIDE and room >= 14 else _compact)(state, now, words, width, max(0, room))
    rows = [*head, *body[: max(0, room)]]
    rows += [Text()] * (height - len(rows) - len(foot)) + foot
    return [_cut(row, width) for row in rows[:height]]


def _cut(row: Text, width: int) -> Text:
    row = row.copy()
    row.truncate(width, overflow="ellipsis")
    return row


def _head(state: WatchDocument, now: float, words: Wording, width: int, height: int) -> list[Text]:
    place = safe_line(" · ".join(filter(None, (state.shed, state.boat))), width // 2)
    today = words.local(now).date()
    when = f"{day(today, today)} {words.time(now)}"
    top = Text(f" {place}{when:>{max(1, width - len(place) - 2)}}", style="bold")
    verdict = state.advice.verdict if state.advice else "unknown"
    deadline = next_deadline(state.running, now)
    large_or_word = _large_rows(verdict, deadline, now, width) if height >= LARGE_FROM else [_word(verdict)]
    return [top, *large_or_word, *_headlines(state, deadline, now, words, width)]


def _large_rows(verdict: str, deadline: Deadline | None, now: float, width: int) -> list[Text]:
    said = verdict.upper()
    if large_width(said) + 2 > width:
        return [_word(verdict)]
    count = countdown(deadline.due - now) if deadline else ""
    fits = count and large_width(said) + large_width(count) + 4 <= width
    left, right = large(said, INK[verdict]), large(count) if fits else ("",) * 5
    return [
        Text.assemble(
            " ", (row, COLOUR[verdict]), " " * (width - 2 - len(row) - len(beside)), (beside, "bold"), " "
        )
        for row, beside in zip(left, right, strict=True)
    ]


def _word(verdict: str) -> Text:
    """The verdict in one row, where large letters have no room."""
    return Text(f" {verdict.upper()}", style=COLOUR[verdict])


def _headlines(
    state: WatchDocument, deadline: Deadline | None, now: float, words: Wording, width: int
) -> list[Text]:
    waiting = "no answer yet: waiting for the first readings"
    said = safe_line(words.say(state.advice.headline, now)) if state.advice else waiting
    rows = [Text(f" {said}", style="bold")]
    if deadline:
        due, left = words.moment(deadline.due, now), countdown(deadline.due - now)
        rows.append(Text(f" {deadline.text} {due}, in {left} h ({safe_line(deadline.layer)})"))
    else:
        rows.append(Text(" no layer running; when you start one: curewatch layer --mass 150"))
    return rows


def countdown(seconds: float) -> str:
    """Hours and minutes left, rounded down so that nobody is late by it: ``0:42``."""
    minutes = max(0, int(seconds // MINUTE))
    return f"{minutes // 60}:{minutes % 60:02d}"


def _compact(state: WatchDocument, now: float, words: Wording, width: int, room: int) -> list[Text]:
    alerts = _alerts(state, now, words, 2 if room < 18 else 4)
    plot = 0 if room + 8 < SMALL else min(max(8, room // 2), 16)
    reasons = _reasons(state, now, words, max(2, room - len(alerts) - plot))
    drawn = chart_rows(state.chart, now, words, width - 1, plot) if plot and state.chart else []
    rows = [*reasons, *(Text(row) for row in drawn)]
    return rows[: room - len(alerts)] + alerts


def _wide(state: WatchDocument, now: float, words: Wording, width: int, room: int) -> list[Text]:
    left_width = width // 2
    left = _reasons(state, now, words, room - 6)
    left += [Text(), *_layers(state, now, words)]
    alerts = _alerts(state, now, words, 4)
    height = room - len(alerts) - 1
    drawn = chart_rows(state.chart, now, words, width - left_width - 2, height) if state.chart else []
    beside = [
        Text.assemble(_padded(left[index] if index < len(left) else Text(), left_width), " ", row)
        for index, row in enumerate(drawn)
    ]
    return [*beside, Text(), *alerts]


def _padded(row: Text, width: int) -> Text:
    row = _cut(row, width)
    row.pad_right(max(0, width - row.cell_len))
    return row


def _reasons(state: WatchDocument, now: float, words: Wording, most: int) -> list[Text]:
    if state.advice is None:
        return []
    ordered = sorted(state.advice.checks, key=lambda check: WORST_FIRST.index(check.status))
    rows = [_reason(check, now, words) for check in ordered[:most]]
    if len(ordered) > most and rows:
        more = len(ordered) - most + 1
        rows[-1] = Text(f" {'':7} and {more} more checks: curewatch tonight")
    return rows


def _reason(check: CheckDocument, now: float, words: Wording) -> Text:
    detail = f" {safe_line(check.title)}: {words.stated(check.value, check.unit)}"
    if check.error:
        detail += f" less {words.stated(check.error, check.difference_unit)} of error"
    if check.limit is not None and check.sense is not None:
        detail += f", {spoken(check.sense)} {words.stated(check.limit, check.unit)}"
    at = moment(check.at)
    if at is not None and at > now:
        detail += f", at {words.moment(at, now)}"
    if check.reason and check.status != "holds":
        detail += f" ({safe_line(words.say(check.reason, now))})"
    return Text.assemble(" ", (f"{WORD[check.status]:7}", WORD_COLOUR[check.status]), detail)


def _layers(state: WatchDocument, now: float, words: Wording) -> list[Text]:
    rows = []
    for each in state.running:
        ago = duration(now - utc_from_iso(each.started))
        rows.append(
            Text(f" {safe_line(each.layer)} {safe_line(each.resin)}, {ago} ago {safe_line(stage(each))}")
        )
        for coming in each.timeline:
            early, late = moment(coming.early), moment(coming.late)
            if late is None or late > now:
                rows.append(Text(f"   {safe_line(coming.title)}: {words.band(early, late, now)}"))
    return rows


def _alerts(state: WatchDocument, now: float, words: Wording, most: int) -> list[Text]:
    if not state.alerts:
        return [Text(" no alert is active")]
    waiting = sorted(state.alerts, key=lambda alert: _place(alert, now))
    rows = []
    for alert in waiting[:most]:
        seen = alert.acknowledged is not None
        mark, style = (" ack   ", "") if seen else (" ALERT ", "reverse bold")
        said = safe_line(words.say(alert.text, now))
        due = moment(alert.due)
        left = "" if due is None else f", {words.left(due, now)}:"  # first: a row may be cut
        since = words.moment(utc_from_iso(alert.since), now)
        rows.append(Text.assemble((mark, style), f" {since}{left} {said}"))
    if len(waiting) > most:
        rows[-1].append(f" (and {len(waiting) - most} more)")
    return rows


def _place(alert: AlertDocument, now: float) -> tuple[bool, float, float]:
    """Order on a small screen: unseen first, then what is due soonest, then the newest."""
    due = moment(alert.due)
    soon = due if due is not None and due >= now else math.inf
    return alert.acknowledged is not None, soon, -utc_from_iso(alert.since)


def _foot(state: WatchDocument, now: float, words: Wording, width: int) -> list[Text]:
    said = " · ".join(_sensor(sensor, now, words) for sensor in state.sensors) or "no sensor heard yet"
    unseen = sum(alert.acknowledged is None for alert in state.alerts)
    keys = f" a acknowledge{f' ({unseen})' if unseen else ''}   q leave   {safe_line(state.daemon)}"
    rejected = [Text(f" {safe_line(state.rejected)}", style="yellow")] if state.rejected else []
    return [Text(f" {said}"), *rejected, Text(keys, style="dim")]


def _sensor(sensor: SensorStateDocument, now: float, words: Wording) -> str:
    parts = [safe_line(sensor.sensor, 16)]
    if sensor.temperature_c is not None:
        parts.append(words.stated(sensor.temperature_c, "degC").replace(" °", "°"))
    if sensor.humidity_percent is not None:
        parts.append(words.stated(sensor.humidity_percent, "percent").replace(" %", "%"))
    if sensor.health != "fresh":
        parts.append(spoken(sensor.health).upper())
    if sensor.time is not None:
        parts.append(_age(now - utc_from_iso(sensor.time)))
    return " ".join(parts)


def _age(seconds: float) -> str:
    """Short: ``20s``, ``3min``, ``5h``."""
    seconds = max(0.0, seconds)
    if seconds < 90:
        return f"{seconds:.0f}s"
    return f"{seconds / MINUTE:.0f}min" if seconds < 2 * HOUR else f"{seconds / HOUR:.0f}h"
