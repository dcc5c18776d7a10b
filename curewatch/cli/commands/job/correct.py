"""``curewatch job correct``: a new entry that says what an earlier one should have said.

Nothing is ever edited. A value is read as the form of the corrected entry reads it, and what hangs on it (a
start, a ratio, a moment) goes with it.
"""

from collections.abc import Callable
from functools import partial
from typing import Annotated, Any

import typer

from curewatch import worklog
from curewatch.answers.job import job_show_document
from curewatch.cli.desk import Bench, ByOption, ForceOption, JobOption, desk, said
from curewatch.cli.forms import Ask, answered, at_terminal
from curewatch.cli.job_forms import FORMS
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption
from curewatch.cli.screens.job import changed, job_lines
from curewatch.cli.terminal import note, say
from curewatch.cli.typed import moment_from_text
from curewatch.errors import UsageError
from curewatch.logbook import EntryKind
from curewatch.materials import load_resin
from curewatch.wording import Wording
from curewatch.worklog import laying, quality, telling
from curewatch.worklog.fields import Field, one_of, words
from curewatch.worklog.order import ToldTime


def correct(
    number: Annotated[
        int | None, typer.Argument(help="The entry's number, as `job show` gives it.", show_default=False)
    ] = None,
    *,
    changes: Annotated[
        list[str] | None, typer.Option("--set", metavar="KEY=VALUE", help="New value; repeatable.")
    ] = None,
    reason: Annotated[str | None, typer.Option("--reason", help="Why; it is shown in the record.")] = None,
    by: ByOption = None,
    job: JobOption = None,
    force: ForceOption = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Correct an earlier entry: a new entry that names it. Both stay in the record.

    A lot or mass corrected at a batch is corrected at its layer, a lot at its observations, too.

    On a terminal it shows the entries and asks for what was not given. When it happened is the key `at`.

    Example: curewatch job correct 2 --set resin_lot="demo lot 8" --reason "read the wrong tin"
    """
    with desk(config, units) as place:
        found = worklog.writable(place.logbook, job)
        number, changes, reason, by = _asked(place, found, (number, changes or [], reason, by))
        if not reason.strip():
            raise UsageError("--reason is empty; say why the entry is corrected")
        before = telling.correctable(found, number)
        values = _changes(before, changes, place)
        if "at" in values:
            place.in_order(found, _moved(before, values["at"], place.now), force=force)
        stored = place.entry(telling.correction(found, number, values, reason, at=place.now, by=by))
        for follower, change in telling.followers(found, before, values):
            told = f"follows the correction of entry {number}"
            place.entry(telling.correction(found, follower.number, change, told, at=place.now, by=by))
            what = "; ".join(changed(_holds(follower), change, place.words, place.now))
            note(f"entry {follower.number} {told}: {what}")
        text = "; ".join(changed(_holds(before), values, place.words, place.now))
        said(place, stored, f"entry {number} corrected: {text}", json)


def _holds(told: worklog.CorrectedEntry) -> dict[str, Any]:
    """What an entry says by now."""
    return {**told.payload, "at": told.at}


def _moved(before: worklog.CorrectedEntry, at: float, now: float) -> ToldTime:
    """The entry at its new moment."""
    payload = before.payload
    layer = "" if before.kind == EntryKind.LAYER else str(payload.get("layer", ""))
    return ToldTime(before.kind, at, now, tuple(payload.get("batches") or ()), layer)


Given = tuple[int | None, list[str], str | None, str | None]


def _asked(place: Bench, job: worklog.Job, given: Given) -> tuple[int, list[str], str, str | None]:
    """What was not given, from the person; who it was last time, where nobody says.

    Raises
    ------
    UsageError
        Something is missing and there is nobody to ask.
    """
    number, changes, reason, by = given
    who = by or str(job.opened.payload.get("by") or "") or None
    ask = at_terminal()
    missing = [
        name for name, told in (("NUMBER", number), ("--set", changes), ("--reason", reason)) if not told
    ]
    if not missing:
        return number or 0, changes, reason or "", who
    if ask is None:
        raise UsageError(f"missing: {', '.join(missing)}; or run it on a terminal to be asked")
    if number is None:
        say(*job_lines(job_show_document(job), place.words, place.now))
        number = answered(
            Field("number", "Number of the entry that was wrong", _number, needed=True), "", ask
        )
    changes = changes or [_change(place, job, number, ask)]
    reason = reason or answered(Field("reason", "Reason", words, needed=True), "", ask)
    if by is None:
        who = answered(Field("by", "Who", words), who or "", ask)
    return number, changes, reason, who


def _number(text: str, option: str) -> int:
    if not text.strip().isdecimal():
        raise UsageError(f"{option}: found {text!r}. Use a number as it stands before the entry")
    return int(text)


def _change(place: Bench, job: worklog.Job, number: int, ask: Ask) -> str:
    """One key and its new value, as ``--set`` would be given it."""
    before = telling.correctable(job, number)
    readers = _readers(before, place)
    key = answered(
        Field("key", f"What was wrong: {', '.join(readers)}", one_of(*readers), needed=True), "", ask
    )
    field = next((one for one in FORMS.get(before.kind, ()) if one.key == key), None)
    stood = before.payload.get(key)
    shown = field.say(stood, place.words) if field is not None and stood is not None else ""

    def read(text: str, option: str) -> str:
        readers[key](text, option)
        return text

    value = answered(Field(key, f"{key} should be", read, needed=True), shown, ask)
    return f"{key}={value}"


def _readers(before: worklog.CorrectedEntry, place: Bench) -> dict[str, Callable[[str, str], Any]]:
    """What may be corrected in such an entry, and how each is read."""
    readers: dict[str, Callable[[str, str], Any]] = {
        field.key: partial(_typed, field, place.words) for field in FORMS.get(before.kind, ())
    }
    readers["at"] = lambda text, option: moment_from_text(
        text, place.configuration.zone, place.now, ahead=False, option=option
    )
    return readers


def _typed(field: Field, words: Wording, text: str, option: str) -> Any:
    return field.read(text, option) if field.bare is None else field.bare(text, option, words)


def _changes(before: worklog.CorrectedEntry, changes: list[str], place: Bench) -> dict[str, Any]:
    """New values by key, each read as the form of that entry reads it."""
    fields = _readers(before, place)
    needed = {field.key for field in FORMS.get(before.kind, ()) if field.needed}
    values = {}
    for change in changes:
        key, equals, text = change.partition("=")
        if not equals or key.strip() not in fields:
            raise UsageError(f"--set: found {change!r}. Use KEY=VALUE, with one of {', '.join(fields)}")
        if not text.strip() and key.strip() in needed:
            raise UsageError(f"--set {change!r}; {key.strip()} cannot be left empty")
        values[key.strip()] = fields[key.strip()](text, f"--set {key.strip()}")
    return values | _following(before, values, place)


def _following(before: worklog.CorrectedEntry, values: dict[str, Any], place: Bench) -> dict[str, Any]:
    """What hangs on the corrected keys and must not stay as it was: a start, a ratio, a moment."""
    now = dict(before.payload) | values
    if before.kind == EntryKind.LAYER:
        return _relaid(now, values, place)
    if before.kind == EntryKind.BATCH and values.keys() & _WEIGHED:
        return _weighed(now, values, place)
    if before.kind == EntryKind.QUALITY and values.keys() & {"check", "load", "arm"}:
        return {"value": None, "unit": None} | quality.measured(now)
    return {}


def _relaid(now: dict[str, Any], values: dict[str, Any], place: Bench) -> dict[str, Any]:
    """A layer counts down from when it was mixed; its cloth, as corrected, has another thickness."""
    found = {"started": values["at"]} if "at" in values else {}
    if not values.keys() & {"layers", "cloth", "fibre_share"}:
        return found
    resin = load_resin(now["resin"], folder=place.configuration.resin.folder)
    return found | laying.laminate(place.configuration, now, resin)


_WEIGHED = {"resin_mass", "hardener_mass", "peroxide_mass", "resin"}


def _weighed(now: dict[str, Any], values: dict[str, Any], place: Bench) -> dict[str, Any]:
    """The ratio of a batch as corrected; the mass goes by the name of what this resin is mixed with.

    Raises
    ------
    UsageError
        The other one was given.
    """
    resin = load_resin(now["resin"], folder=place.configuration.resin.folder)
    key = f"{resin.chemistry.added}_mass"
    other = "peroxide_mass" if key == "hardener_mass" else "hardener_mass"
    if other in values:
        raise UsageError(
            f"--set {other}: {resin.name} is mixed with {resin.chemistry.added}. Use --set {key}=MASS"
        )
    moved = {} if now.get(key) is not None else {key: now[other], other: None}
    added = telling.added_mass(now)
    ratio, advised = telling.proportions(
        resin, now["resin_mass"], added, scale_step=now.get("scale_step", 0.001)
    )
    if not ratio["within"]:
        note(f"ratio outside its tolerance: {ratio['text']}. {place.words.say(advised)}")
    return moved | {"ratio": ratio}
