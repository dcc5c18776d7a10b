"""The board as plain lines: for a pipe, a log, or a screen reader. Each line stands on its own."""

from curewatch.answers.alerts import AlertDocument
from curewatch.answers.deadlines import countdown, next_deadline
from curewatch.answers.document import moment, spoken
from curewatch.answers.tonight import CheckDocument
from curewatch.answers.watch import WatchDocument
from curewatch.cli.screens.lines import worst
from curewatch.clock import utc_from_iso
from curewatch.safe_text import safe_line
from curewatch.wording import Wording


def status(state: WatchDocument, now: float, words: Wording) -> list[str]:
    """Everything that matters, the answer first."""
    at = words.moment(now, now)
    lines = [f"{at} {_verdict(state, words)}"]
    if state.advice is not None:
        lines += [f"{at} {_check(check, now, words)}" for check in state.advice.checks if _told(check)]
    deadline = next_deadline(state.running, now)
    if deadline is not None:
        left = countdown(deadline.due - now)
        due = words.moment(deadline.due, now)
        lines.append(f"{at} layer {safe_line(deadline.layer)}: {deadline.text} {due}, {left} hours left")
    lines += [
        f"{at} alert: {_alert(alert, now, words)}" for alert in state.alerts if alert.acknowledged is None
    ]
    for sensor in state.sensors:
        parts = [words.stated(sensor.temperature_c, "degC")] if sensor.temperature_c is not None else []
        if sensor.humidity_percent is not None:
            parts.append(words.stated(sensor.humidity_percent, "percent"))
        lines.append(f"{at} sensor {safe_line(sensor.sensor)}: {', '.join([spoken(sensor.health), *parts])}")
    if state.rejected:
        lines.append(f"{at} {safe_line(state.rejected)}")
    return lines


def changes(before: WatchDocument, state: WatchDocument, now: float, words: Wording) -> list[str]:
    """Only what is another than before: the verdict, alerts, layers, a sensor's health."""
    at = words.moment(now, now)
    lines = []
    if _verdict(before, words) != _verdict(state, words):
        lines.append(f"{at} {_verdict(state, words)}")
    stood = {(alert.alert, alert.subject): alert for alert in before.alerts}
    for alert in state.alerts:
        old = stood.pop((alert.alert, alert.subject), None)
        if old is None or old.meaning != alert.meaning:
            lines.append(f"{at} alert: {_alert(alert, now, words)}")
        elif old.acknowledged is None and alert.acknowledged is not None:
            lines.append(f"{at} acknowledged: {_alert(alert, now, words)}")
    lines += [f"{at} cleared: {_alert(alert, now, words)}" for alert in stood.values()]
    known = {each.layer for each in before.running}
    running = {each.layer: each for each in state.running}
    lines += [
        f"{at} layer {safe_line(name)} started: {safe_line(each.resin)}"
        for name, each in running.items()
        if name not in known
    ]
    lines += [f"{at} layer {safe_line(name)} closed" for name in sorted(known - running.keys())]
    health = {sensor.sensor: sensor.health for sensor in before.sensors}
    lines += [
        f"{at} sensor {safe_line(sensor.sensor)}: {spoken(sensor.health)}"
        for sensor in state.sensors
        if health.get(sensor.sensor) != sensor.health
    ]
    return lines


def _alert(alert: AlertDocument, now: float, words: Wording) -> str:
    due = moment(alert.due)
    left = "" if due is None else f", {words.left(due, now)}"
    return safe_line(words.say(alert.text, now)) + left


def _verdict(state: WatchDocument, words: Wording) -> str:
    if state.advice is None:
        return "unknown: waiting for the first readings"
    return f"{state.advice.verdict}: {safe_line(words.say(state.advice.headline, utc_from_iso(state.at)))}"


def _told(check: CheckDocument) -> bool:
    return check.status != "holds"


def _check(check: CheckDocument, now: float, words: Wording) -> str:
    reason = f", {safe_line(words.say(check.reason, now))}" if check.reason else ""
    found = words.stated(worst(check), check.unit)
    return f"{check.status}: {safe_line(check.title)}, {found}{reason}"
