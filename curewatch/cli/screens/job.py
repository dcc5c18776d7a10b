"""A job as lines of text: what was told, when, and what was corrected since."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from curewatch.answers.document import spoken
from curewatch.answers.job import JobDocument, JobListDocument, JobShowDocument
from curewatch.clock import utc_from_iso
from curewatch.safe_text import safe_line
from curewatch.wording import Wording, duration

_HIDDEN = {  # said elsewhere in the line, or by other keys, or for the model
    *("job", "layer", "batch", "given_afterwards", "thumbnail", "sha256", "at", "started", "zone"),
    *("scale_step", "words", "numbers", "press"),
}
# What an observation keeps for the model: whoever wants it reads `job show --json`.
_LEARNT = {"memory", "history", "elapsed", "rise", "earlier", "resin", "parent", "version"}


def listed(document: JobListDocument, words: Wording, now: float) -> Iterator[str]:
    """One line a job."""
    for job in document.jobs:
        begun, title = words.moment(utc_from_iso(job.opened), now), safe_line(job.title, 60)
        yield f"{safe_line(job.job):8} {_state(job, words, now):24} opened {begun}  {title}"
    if not document.jobs:
        yield "No job yet. Open one with: curewatch job open"


def _state(job: JobDocument, words: Wording, now: float) -> str:
    return "open" if job.closed is None else f"closed {words.moment(utc_from_iso(job.closed), now)}"


def job_lines(job: JobShowDocument, words: Wording, now: float) -> Iterator[str]:
    """The job's head, then one line an entry, corrections under the entry they correct."""
    yield f"Job {safe_line(job.job)}: {safe_line(job.title)} ({_state(job, words, now)})"
    if job.running:
        yield f"Counting down: {', '.join(safe_line(name) for name in job.running)}"
    closing = None
    if job.closed is not None:
        closing = max((entry.number for entry in job.entries if entry.kind == "job-close"), default=None)
    numbered = {entry.number: entry for entry in job.entries}
    for entry in job.entries:
        if entry.kind == "correction":
            continue
        late = " (told afterwards)" if entry.holds_now.get("given_afterwards") else ""
        if closing is not None and entry.number > closing and entry.kind not in {"account", "sign-off"}:
            late += " (after the close)"
        when = words.moment(utc_from_iso(entry.happened), now)
        kind, told = safe_line(spoken(entry.kind), 40), told_line(entry.kind, entry.holds_now, words)
        yield f"{entry.number:5}  {when}{late}  {kind}  {told}"
        stood = {**entry.payload, "at": utc_from_iso(entry.at)}
        for number in entry.corrected_by:
            correction = numbered[number].payload
            changes = ", ".join(_was(key, stood, words, now) for key in correction["changes"])
            stood |= correction["changes"]
            told = safe_line(f"corrected by {number}: {changes}; {correction.get('reason', '')}")
            yield f"         {told}"


def told_line(kind: str, payload: Mapping[str, Any], words: Wording) -> str:
    """What one entry says, without its time: its deed in words, then what else was given."""
    name = " ".join(str(payload[key]) for key in ("batch", "layer") if payload.get(key))
    deed, used = _deed(kind, payload, words)
    more = [
        f"{key.replace('_', ' ')} {_value(key, value, words)}"
        for key, value in payload.items()
        if key not in _hidden(kind) | used and value not in (None, "", []) and value is not False
    ]
    rest = ", ".join([deed, *more] if deed else more)
    return safe_line(": ".join(part for part in (name, rest) if part))


def _deed(kind: str, payload: Mapping[str, Any], words: Wording) -> tuple[str, set[str]]:
    """An entry's matter as somebody would say it, and the keys that are said with it."""
    if kind == "quality":
        found = {True: " passed", False: " failed"}.get(payload.get("passed"), "")  # type: ignore[arg-type]
        said = {"check", "passed", "value", "unit", "load", "arm"}
        return f"{payload.get('check')}{found}{_measured(payload, words)}", said
    if kind == "account":
        return "record written", set(payload)
    before, key, *beside = _DEEDS.get(kind, ("", ""))
    if not key:
        return "", set()
    told = str(payload.get(key))
    return f"{before}{spoken(told) if key == 'action' else told}", {key, *beside}


# Words before it, the key that says it, and keys said with it or left to `job show --json`.
_DEEDS: dict[str, tuple[str, ...]] = {
    "peel-ply": ("peel ply ", "action"),
    "wash": ("", "action"),
    "primer": ("timber primer ", "primer"),
    "tab-test": ("bond test ", "test", "order"),
    "tab": ("bond test tab ", "tab", "test"),
    "note": ("", "text"),
    "deviation": ("", "deviation"),
    "sign-off": ("signed as ", "role"),
    "photo": ("", "file", "bytes", "width", "height"),
}


def _measured(payload: Mapping[str, Any], words: Wording) -> str:
    """``, 2.354 N m (2 kg on 120 mm)``; nothing where a check has no number."""
    if payload.get("value") is None:
        return ""
    lever = [_value(key, payload[key], words) for key in ("load", "arm") if payload.get(key) is not None]
    number = f", {_value('value', payload['value'], words)} {payload.get('unit') or ''}".rstrip()
    return number + (f" ({' on '.join(lever)})" if lever else "")


def changed(before: Mapping[str, Any], changes: Mapping[str, Any], words: Wording, now: float) -> list[str]:
    """``resin mass: 123 g -> 125 g``, for each key that a correction changes of what held before it."""

    def said(key: str, value: Any) -> str:
        return words.moment(value, now) if key == "at" else _value(key, value, words)

    return [
        f"{key.replace('_', ' ')}: {said(key, before.get(key))} -> {said(key, value)}"
        for key, value in changes.items()
        if key != "started"  # it goes with `at`
    ]


def _was(key: str, stood: Mapping[str, Any], words: Wording, now: float) -> str:
    """What a key said before it was corrected; withdrawing has no earlier value."""
    if key == "withdrawn":
        return "withdrawn"
    value = stood.get(key)
    timed = key in {"at", "started"} and isinstance(value, int | float)
    return f"{key.replace('_', ' ')} was {words.moment(value, now) if timed else _value(key, value, words)}"


def _hidden(kind: str) -> set[str]:
    return _HIDDEN | _LEARNT if kind == "observation" else _HIDDEN


def _value(key: str, value: Any, words: Wording) -> str:
    """A payload's value as people read it; by its key where the unit hangs on that."""
    if value is None:
        return "not given"
    say = _SAID_BY_KEY.get(key)
    if say is not None and isinstance(value, int | float):
        return say(float(value), words)
    if isinstance(value, dict) and value.get("within") is False:
        return f"OUT OF TOLERANCE: {value.get('text')}"
    if isinstance(value, dict):
        return str(value.get("text") or ", ".join(f"{name} {inner}" for name, inner in value.items()))
    if isinstance(value, list):
        return ", ".join(map(str, value))
    if isinstance(value, bool):
        value = "yes" if value else "no"
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _mass(value: float, words: Wording) -> str:
    return words.mass(value)


def _temperature(value: float, words: Wording) -> str:
    return words.temperature(value)


def _span(value: float, _: Wording) -> str:
    return duration(value)


def _millimetres(value: float, _: Wording) -> str:
    return f"{value * 1000:.4g} mm"


def _percent(value: float, _: Wording) -> str:
    return f"{value * 100:.3g} %"


_SAID_BY_KEY: dict[str, Callable[[float, Wording], str]] = {
    "resin_mass": _mass,
    "hardener_mass": _mass,
    "peroxide_mass": _mass,
    "batch_mass": _mass,
    "mass": _mass,
    "load": _mass,
    "pot_temperature": _temperature,
    "thickness": _millimetres,
    "arm": _millimetres,
    "moisture": _percent,
    "fibre": _percent,
    "fibre_share": _percent,
    "tacky_after": _span,
    "open_for": _span,
}
