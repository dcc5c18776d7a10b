"""The board: a pure function of what is known and what time it is, as rows of styled text.

Read from two metres: the verdict and the next deadline in letters five rows high. Nearer: why, the
chart, the alerts, the sensors. Nothing is told by colour alone, so that every terminal will do.
"""

from rich.text import Text

from curewatch.answers.alerts import in_order
from curewatch.answers.deadlines import (
    Deadline,
    countdown,
    next_deadline,
    own_heat,
    place,
    unmeasured,
    unsure_window,
)
from curewatch.answers.document import moment, spoken
from curewatch.answers.sensor import SensorStateDocument
from curewatch.answers.tonight import CheckDocument
from curewatch.answers.watch import WatchDocument
from curewatch.cli.screens.chart import chart_rows
from curewatch.cli.screens.large import large, large_width
from curewatch.cli.screens.layer import stage
from curewatch.cli.screens.lines import kept_words, worst, wrapped
from curewatch.clock import utc_from_iso
from curewatch.safe_text import safe_line
from curewatch.units import HOUR, MINUTE
from curewatch.wording import Wording, day, duration

INK = {"go": "█", "no-go": "█", "unknown": "▒"}
COLOUR = {"go": "bold green", "no-go": "bold red", "unknown": "bold"}
WORD = {"holds": "holds", "care": "CARE", "fails": "FAILS", "unknown": "UNKNOWN"}
WORD_COLOUR = {"holds": "", "care": "bold", "fails": "bold red", "unknown": "bold"}
WORST_FIRST = ["fails", "unknown", "care", "holds"]
WIDE = 110  # columns from which the chart stands beside the reasons
SMALL = 20  # rows below which there is no chart
HEADLINE, SENSORS = 2, 2  # rows at most
LARGE_FROM = 10  # rows from which the verdict is written large


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
    """The row, shortened between words where it is too long: a number is left out whole, never cut."""
    row = row.copy()
    if row.cell_len > width:
        row.truncate(len(kept_words(row.plain, width - 1)))
        row.append("…")
    return row


def _rows(text: str, width: int, most: int, style: str = "") -> list[Text]:
    """A text in so many rows at most."""
    rows = wrapped(text, " ", " ", width)
    if len(rows) > most:
        rows = [*rows[: most - 1], f"{rows[most - 1]} …"]
    return [Text(row, style=style) for row in rows]


def _head(state: WatchDocument, now: float, words: Wording, width: int, height: int) -> list[Text]:
    place = safe_line(" · ".join(filter(None, (state.shed, state.boat))), width // 2)
    today = words.local(now).date()
    when = f"{day(today, today)} {words.time(now)}"
    top = Text(f" {place}{when:>{max(1, width - len(place) - 2)}}", style="bold")
    verdict = state.advice.verdict if state.advice else "unknown"
    deadline = next_deadline(state.running, now)
    large_or_word = _large_rows(verdict, deadline, now, width) if height >= LARGE_FROM else [_word(verdict)]
    most = HEADLINE if height >= LARGE_FROM else 1
    return [top, *large_or_word, *_headlines(state, deadline, now, words, width, most=most)]


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
    state: WatchDocument, deadline: Deadline | None, now: float, words: Wording, width: int, *, most: int
) -> list[Text]:
    waiting = "no answer yet: waiting for the first readings"
    said = safe_line(words.say(state.advice.headline, now)) if state.advice else waiting
    rows = _rows(said, width, most, "bold")
    if deadline:
        due, left = words.moment(deadline.due, now), countdown(deadline.due - now)
        rows.append(Text(f" {deadline.text} {due}, in {left} h ({safe_line(deadline.layer, 40)})"))
    else:
        rows.append(Text(" no layer running; when you start one: curewatch layer --mass 150"))
    return rows


def _compact(state: WatchDocument, now: float, words: Wording, width: int, room: int) -> list[Text]:
    alerts = _alerts(state, now, words, width, most=2 if room < 18 else 4, each=1 if room < 18 else 2)
    plot = 0 if room + 8 < SMALL else min(max(8, room // 2), 16)
    reasons = _reasons(state, now, words, max(2, room - len(alerts) - plot))
    drawn = chart_rows(state.chart, now, words, width - 1, plot) if plot and state.chart else []
    rows = [*reasons, *(Text(row) for row in drawn)]
    return rows[: room - len(alerts)] + alerts


def _wide(state: WatchDocument, now: float, words: Wording, width: int, room: int) -> list[Text]:
    left_width = width // 2
    left = _reasons(state, now, words, room - 6)
    left += [Text(), *_layers(state, now, words)]
    alerts = _alerts(state, now, words, width, most=4, each=2)
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
        rows[-1] = Text(f" {'':7} and {more} more checks: curewatch tonight --why")
    return rows


def _reason(check: CheckDocument, now: float, words: Wording) -> Text:
    """The number and its limit first, the sensors' error taken off: the end of a row may be left out."""
    found = words.stated(worst(check), check.unit)
    detail = f" {found}"
    if check.limit is not None and check.sense is not None:
        detail += f", {spoken(check.sense)} {words.stated(check.limit, check.unit)}"
    detail += f": {safe_line(check.title)}"
    if check.reason and check.status != "holds":
        detail += f" ({safe_line(words.say(check.reason, now))})"
    return Text.assemble(" ", (f"{WORD[check.status]:7}", WORD_COLOUR[check.status]), detail)


def _layers(state: WatchDocument, now: float, words: Wording) -> list[Text]:
    rows = []
    for each in state.running:
        ago = duration(now - utc_from_iso(each.started))
        rows.append(
            Text(f" {ago} ago: {safe_line(each.layer)} {safe_line(each.resin)}, {safe_line(stage(each))}")
        )
        also = place(each), own_heat(each, words), unmeasured(each), unsure_window(each, now)
        rows += [Text(f"   {told}") for told in also if told]
        for coming in each.timeline:
            early, late = moment(coming.early), moment(coming.late)
            if late is None or late > now:
                rows.append(Text(f"   {safe_line(coming.title)}: {words.band(early, late, now)}"))
    return rows


def _alerts(
    state: WatchDocument, now: float, words: Wording, width: int, *, most: int, each: int
) -> list[Text]:
    if not state.alerts:
        return [Text(" no alert is active")]
    waiting = in_order(state.alerts, now)
    rows = []
    for alert in waiting[:most]:
        seen = alert.acknowledged is not None
        mark, style = (" ack   ", "") if seen else (" ALERT ", "reverse bold")
        said = safe_line(words.say(alert.text, now))
        due = moment(alert.due)
        left = "" if due is None else f", {words.left(due, now)}:"  # first: a row may be cut
        since = words.moment(utc_from_iso(alert.since), now)
        first, *further = _rows(f"{since}{left} {said}", width - len(mark), each)
        rows.append(Text.assemble((mark, style), first))
        rows += [Text(f"{'':{len(mark)}}{row.plain}") for row in further]
    if len(waiting) > most:
        more = f" (and {len(waiting) - most} more)"
        rows[-1] = _cut(rows[-1], width - len(more)).append(more)
    return rows


def _foot(state: WatchDocument, now: float, words: Wording, width: int) -> list[Text]:
    unseen = sum(alert.acknowledged is None for alert in state.alerts)
    keys = f" a acknowledge{f' ({unseen})' if unseen else ''}   q leave   {safe_line(state.daemon)}"
    rejected = [Text(f" {safe_line(state.rejected)}", style="yellow")] if state.rejected else []
    return [*_sensors(state, now, words, width), *rejected, Text(keys, style="dim")]


def _sensors(state: WatchDocument, now: float, words: Wording, width: int) -> list[Text]:
    """Each sensor whole, in two rows at most; of more, how many are not shown."""
    every = [_sensor(sensor, now, words) for sensor in state.sensors]
    rows = [""]
    for at, said in enumerate(every):
        more = f" · and {len(every) - at} more"
        room = width - 1 - (len(more) if len(rows) == SENSORS and at < len(every) - 1 else 0)
        joined = f"{rows[-1]} · {said}" if rows[-1] else said
        if len(joined) <= room:
            rows[-1] = joined
        elif len(rows) < SENSORS:
            rows.append(said)
        else:
            rows[-1] += more
            break
    return [Text(f" {row or 'no sensor has reported yet'}") for row in rows]


def _sensor(sensor: SensorStateDocument, now: float, words: Wording) -> str:
    parts = [safe_line(sensor.sensor, 16)]
    if sensor.temperature_c is not None:
        parts.append(words.stated(sensor.temperature_c, "degC"))
    if sensor.humidity_percent is not None:
        parts.append(words.stated(sensor.humidity_percent, "percent"))
    if sensor.health != "fresh":
        parts.append(spoken(sensor.health).upper())
    if sensor.time is not None:
        parts.append(_age(now - utc_from_iso(sensor.time)))
    return " ".join(parts)


def _age(seconds: float) -> str:
    """Short: ``20 s``, ``3 min``, ``5 h``."""
    seconds = max(0.0, seconds)
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / MINUTE:.0f} min" if seconds < 2 * HOUR else f"{seconds / HOUR:.0f} h"
