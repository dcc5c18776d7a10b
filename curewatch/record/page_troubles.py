"""On paper: alerts, gaps, clocks, rejections and corrections. Shown, not hidden."""

from collections.abc import Iterator, Mapping
from itertools import pairwise

from curewatch.answers.document import spoken
from curewatch.logbook import EntryKind, StoredEntry
from curewatch.record.account import Account
from curewatch.record.page import PageTable, of, table
from curewatch.record.words import RecordWords, shown, span
from curewatch.worklog import CorrectedEntry
from curewatch.worklog.order import ToldTime, contradictions


def alerts(account: Account, words: RecordWords) -> Iterator[str | PageTable]:
    """Every alert, and what was advised."""
    rows = [
        (
            words.moment(one.at),
            of(one.payload, "happening"),
            spoken(of(one.payload, "alert"))
            + (f", {of(one.payload, 'subject')}" if one.payload.get("subject") else ""),
            words.told(one.payload, "text", one.at),
            words.told(one.payload, "advised", one.at),
        )
        for one in account.alerts()
    ]
    if not rows:
        yield "No alert was raised."
        return
    yield table(
        ("When", "Was", "Alert", "What was the matter", "What was advised"), (14, 12, 20, 29, 25), rows
    )
    yield "What was done about them stands in “What was done”, by its time."


_SHED_WORDS = {
    EntryKind.GAP: "gap",
    EntryKind.CLOCK: "clock",
    EntryKind.REJECTED: "rejected",
    EntryKind.PRUNE: "removed by retention",
    EntryKind.KEY: "signing key",
    EntryKind.RESTORED: "older copy",
    "health": "sensor's health",
    "sensor": "sensor",
    "source": "source",
    "dropped": "dropped",
    "daemon": "program",
}


def blemishes(account: Account, words: RecordWords) -> Iterator[str | PageTable]:
    """Gaps, clock steps, rejections, swaps and corrections: shown, not hidden."""
    rows = [
        (words.moment(one.at), _SHED_WORDS[one.kind], _blemish(one, words))
        for one in account.shed
        if one.kind in _SHED_WORDS
    ]
    rows += [
        (
            words.moment(one.at),
            "clock",
            f"{shown(one.what, 60)}: {span(one.seconds)} before the line before it",
        )
        for one in account.disorder
    ]
    rows += list(_silences(account, words))
    rows += list(_exchanges(account, words))
    rows += [row for told in account.job.told for row in _correction_rows(told, words)]
    rows += list(_after_the_close(account, words))
    rows += list(_contradictions(account, words))
    if not rows:
        yield "None was noticed."
        return
    yield table(("When", "What", ""), (16, 16, 68), rows)


def _silences(account: Account, words: RecordWords) -> Iterator[tuple[str, str, str]]:
    """Where the readings themselves have holes that no entry of the daemon told of: it may not have run."""
    told = [
        (str(one.payload.get("sensor")), float(start), float(one.payload.get("end") or account.end))
        for one in account.of_shed(EntryKind.GAP)
        if isinstance(start := one.payload.get("start"), int | float)
    ]
    holes: dict[tuple[str, str], list[str]] = {}
    first: dict[tuple[str, str], tuple[float, float]] = {}
    for heard in account.heard:
        for since, until in heard.silences:
            if any(name == heard.post.name and start < until and end > since for name, start, end in told):
                continue
            shown_as = words.moment(since), words.moment(until)
            holes.setdefault(shown_as, []).append(heard.post.name)
            first.setdefault(shown_as, (since, until))
    for shown_as, (since, until) in sorted(first.items(), key=lambda one: one[1]):
        names = shown(", ".join(holes[shown_as]), 200)
        yield shown_as[0], "gap", f"{names}: nothing until {shown_as[1]} ({span(until - since)})"
    if not account.heard:
        yield words.moment(account.start), "gap", "no sensor: nothing was measured during this job"


def _exchanges(account: Account, words: RecordWords) -> Iterator[tuple[str, str, str]]:
    """Where another sensor took over a role, or a sensor became another part."""
    settings = [one for one in account.part.entries if one.kind == EntryKind.CONFIGURATION]
    for before, after in pairwise(settings):
        was, now = (dict(one.payload.get("sensors") or {}) for one in (before, after))
        for name in sorted(was.keys() | now.keys()):
            if was.get(name) != now.get(name):
                told = f"{name}: {_post(was.get(name))} became {_post(now.get(name))}"
                yield words.moment(after.at), "sensor exchanged", shown(told, 200)


def _post(row: object) -> str:
    return f"{row.get('role')}, {row.get('part')}" if isinstance(row, Mapping) else "not configured"


def _blemish(one: StoredEntry, words: RecordWords) -> str:
    payload = one.payload
    if one.kind == EntryKind.GAP:
        start, end = payload.get("start"), payload.get("end")
        if isinstance(start, int | float) and end is None:
            return f"{of(payload, 'sensor')}: nothing since {words.moment(start)}. {of(payload, 'reason')}"
        if isinstance(start, int | float) and isinstance(end, int | float):
            return (
                f"{of(payload, 'sensor')}: nothing from {words.moment(start)} to {words.moment(end)} "
                f"({span(end - start)}). {of(payload, 'reason')}"
            )
    if one.kind == EntryKind.REJECTED:
        counts = [count for count in payload.get("counts") or () if isinstance(count, Mapping)]
        return "; ".join(
            f"{shown(count.get('times', '?'), 12)} x {shown(count.get('reason', '?'), 60)}"
            + (f" ({shown(count['sensor'], 40)})" if count.get("sensor") else "")
            for count in counts[:12]
        )
    if one.kind == EntryKind.RESTORED:
        return f"the logbook goes on from an older copy, without the seal {of(payload, 'missing')}"
    if one.kind == EntryKind.KEY:
        lost = "reason lost" in str(payload.get("text"))
        return f"a new key signs from here on; the old one {'was lost' if lost else 'has signed it'}"
    said = _running_words(one, words)
    return said or shown(", ".join(f"{key}: {value}" for key, value in payload.items()), 300)


def _running_words(one: StoredEntry, words: RecordWords) -> str:
    """What the program and its sources did, in words; empty for anything else."""
    said = ""
    match one.kind, one.payload:
        case "daemon", {"what": "started" | "stopped" | "reloaded" as what}:
            said = f"the program was {what}"
        case "daemon", {"what": "logbook of no shed", "logbooks": names}:
            said = f"this logbook was begun; of no shed in the configuration: {shown(names, 200)}"
        case "daemon", {"what": "store resumed", "dropped": int(lost)}:
            said = f"the logbook takes readings again; {lost or 'none'} were lost"
        case "health", {"sensor": sensor, "health": health}:
            why = words.told(one.payload, "reason", one.at)
            said = f"{shown(sensor, 60)}: {shown(health, 60)} ({why})"
        case "source", {"source": source, "up": True}:
            said = f"{shown(source, 60)} answers"
        case "source", {"source": source, "up": False}:
            said = f"{shown(source, 60)} does not answer: {of(one.payload, 'reason')}"
        case "source", {"source": source, "notice": notice}:
            said = f"{shown(source, 60)}: {shown(notice, 200)}"
        case "sensor", {"sensor": sensor, "unknown": True}:
            said = f"{shown(sensor, 60)} is not in the configuration: stored, and takes no part in advice"
        case "dropped", {"source": source, "pieces": int(pieces)}:
            said = f"{shown(source, 60)}: {pieces} pieces dropped unread"
        case EntryKind.CLOCK, {"step": int() | float() as step}:
            said = f"this machine's clock moved {'forward' if step > 0 else 'back'} by {abs(step):.0f} s"
        case EntryKind.PRUNE, {"before": int() | float() as before, "readings": int(count)}:
            said = f"{count} readings of before {words.moment(before)} were removed"
    return said


_MASSES = {"resin_mass", "hardener_mass", "peroxide_mass", "batch_mass", "load"}
_LENGTHS = {"thickness", "arm"}
_SHARES = {"fibre_share", "fibre", "moisture"}


def _value(key: str, value: object, words: RecordWords) -> str:
    """A corrected value as people write it, by its key."""
    if value is None:
        return "nothing"
    if isinstance(value, int | float) and not isinstance(value, bool):
        return _number(key, value, words)
    if isinstance(value, Mapping):
        outside = "OUT OF TOLERANCE: " if value.get("within") is False else ""
        return outside + shown(value.get("text") or dict(value), 120)
    return shown(", ".join(map(str, value)) if isinstance(value, list | tuple) else value, 160)


def _number(key: str, value: float, words: RecordWords) -> str:
    if key in {"at", "started"}:
        return words.moment(value)
    if key in _MASSES:
        return words.mass(value)
    if key in _LENGTHS:
        return f"{1000 * value:.4g} mm"
    if key in _SHARES:
        return f"{100 * value:.3g} %"
    return words.temperature(value) if key == "pot_temperature" else f"{value:.4g}"


def _after_the_close(account: Account, words: RecordWords) -> Iterator[tuple[str, str, str]]:
    """What was written down of a job that was closed already."""
    if account.job.closed is None:
        return
    for one in account.job.told:
        if one.number > account.job.closed.number and one.kind not in {EntryKind.SEAL, EntryKind.SIGN_OFF}:
            yield (
                words.moment(one.entry.recorded),
                "after the close",
                shown(f"entry {one.number}: {spoken(one.kind)}", 80),
            )


def _contradictions(account: Account, words: RecordWords) -> Iterator[tuple[str, str, str]]:
    """Times that cannot all be true: a layer before its batch, or before the job was opened."""
    for told in account.job.told:
        if told.kind not in {EntryKind.BATCH, EntryKind.LAYER, EntryKind.OBSERVATION, EntryKind.QUALITY}:
            continue
        if told.payload.get("withdrawn"):
            continue
        batches = told.payload.get("batches")
        layer = "" if told.kind == EntryKind.LAYER else str(told.payload.get("layer", ""))
        used = tuple(map(str, batches)) if isinstance(batches, list) else ()
        when = ToldTime(told.kind, told.at, told.entry.recorded, used, layer)
        for one in contradictions(account.job, when):
            yield (
                words.moment(told.at),
                "order",
                shown(f"entry {told.number}: {words.reader.say(one, told.at)}", 200),
            )


def _correction_rows(told: CorrectedEntry, words: RecordWords) -> Iterator[tuple[str, str, str]]:
    stood = {"at": told.entry.at, **told.entry.payload}
    for one in told.corrections:
        changes = one.payload.get("changes")
        new = dict(changes) if isinstance(changes, Mapping) else {}
        told_changes = "; ".join(
            "withdrawn"
            if key == "withdrawn" and value is True
            else f"{key.replace('_', ' ')}: {_value(key, stood.get(key), words)} "
            f"became {_value(key, value, words)}"
            for key, value in new.items()
            if not (key == "started" and "at" in new)  # it goes with it
        )
        stood |= new
        yield (
            words.moment(one.recorded),
            "correction",
            shown(f"of entry {told.number}: {told_changes}. {one.payload.get('reason') or ''}", 400),
        )
