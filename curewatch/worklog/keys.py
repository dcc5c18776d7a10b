"""One press at the bench, as an entry: what a page of large keys tells, on a terminal or on a phone.

Job and part are chosen once. A press stands for now. What a command asks for is taken from the last entry of
its kind, from the job and from the configuration, and marked where it was not weighed. A press that
contradicts what was told before is a question first. It can be withdrawn for a minute.
"""

from enum import StrEnum
from typing import Any, NamedTuple

from msgspec import Struct

from curewatch import worklog
from curewatch.advice.plan import mixing
from curewatch.configuration import Configuration
from curewatch.errors import UsageError
from curewatch.jobs import Layer, part_of
from curewatch.logbook import Entry, EntryKind, LogbookStore, StoredEntry
from curewatch.materials import Resin, load_resin
from curewatch.phrases import Said, phrase
from curewatch.shed import layer_log, pot_log
from curewatch.units import HOUR, MINUTE, kilogram_from_gram
from curewatch.wording import Wording
from curewatch.worklog import laying, observing, telling
from curewatch.worklog.job import Job
from curewatch.worklog.order import ToldTime, contradictions

UNDO_FOR = MINUTE  # s after a press in which it can be withdrawn
RECENT = 6 * HOUR  # s after which a batch is no longer the one that is meant (assumed)
NOT_WEIGHED = "masses as planned, not weighed"


class BenchKey(StrEnum):
    """The keys, in their order on a page."""

    MIXED = "mixed"
    LAID = "laid"
    PEEL_PLY = "peel-ply"
    GELLED = "gelled"
    TACK_FREE = "tack-free"
    FIRM = "firm"
    POT_EMPTY = "pot-empty"
    NOTE = "note"


LABELS = {
    BenchKey.MIXED: "MIXED",
    BenchKey.LAID: "LAID",
    BenchKey.PEEL_PLY: "PEEL PLY",
    BenchKey.GELLED: "GELLED",
    BenchKey.TACK_FREE: "TACK-FREE",
    BenchKey.FIRM: "FIRM",
    BenchKey.POT_EMPTY: "POT EMPTY",
    BenchKey.NOTE: "NOTE",
}
WRITTEN = {  # what a key writes
    EntryKind.BATCH,
    EntryKind.LAYER,
    EntryKind.PEEL_PLY,
    EntryKind.OBSERVATION,
    EntryKind.POT_EMPTY,
    EntryKind.NOTE,
}


class BenchPlace(Struct, frozen=True):
    """Where a press is told: one job and one of its parts, at this moment."""

    logbook: LogbookStore
    configuration: Configuration
    words: Wording
    now: float  # UTC [s]
    job: str
    part: str
    once: str | None = None  # names the press: the same one told twice, over a bad connection, is one

    @property
    def happened(self) -> float:
        return self.now


class Pressed(NamedTuple):
    """What came of a press: an entry and a line about it; or a question, and nothing was written."""

    said: Said
    number: int | None = None  # of the entry
    at: float = 0.0  # UTC [s]

    @property
    def asks(self) -> bool:
        return self.number is None

    def can_be_undone(self, now: float) -> bool:
        return self.number is not None and now - self.at <= UNDO_FOR


def parts(job: Job) -> tuple[str, ...]:
    """The parts of a job that layers were laid on, the last one first; its title's where there is none."""
    told = [str(layer.payload.get("part") or "") for layer in reversed(job.of(EntryKind.LAYER))]
    return tuple(dict.fromkeys(each for each in told if each)) or (part_of(job.title),)


def press(place: BenchPlace, key: BenchKey, *, text: str = "", sure: bool = False) -> Pressed:
    """Tell it; a question where it contradicts what was told, unless the person is ``sure``.

    Raises
    ------
    UsageError
        There is nothing that it could be told of; or the job is closed.
    """
    job = worklog.writable(place.logbook, place.job)
    return told_before(place) or _pressed(place, job, key, text=text, sure=sure)


def _pressed(place: BenchPlace, job: Job, key: BenchKey, *, text: str, sure: bool) -> Pressed:
    match key:
        case BenchKey.MIXED:
            return _mixed(place, job)
        case BenchKey.LAID:
            return _laid(place, job, sure=sure)
        case BenchKey.NOTE:
            return _note(place, job, text)
        case BenchKey.PEEL_PLY:
            return _peel_ply(place, job)
        case BenchKey.POT_EMPTY:
            return _pot_empty(place, job)
        case _:
            return _seen(place, job, key, sure=sure)


def undo(place: BenchPlace, pressed: Pressed) -> Pressed:
    """Withdraw a press; both entries stay in the logbook.

    Raises
    ------
    UsageError
        It was made more than a minute ago, or wrote nothing.
    """
    if pressed.number is None or not pressed.can_be_undone(place.now):
        raise UsageError("undo: found nothing pressed within the last minute. Use `curewatch job withdraw`")
    job = worklog.writable(place.logbook, place.job)
    entry = telling.correction(
        job, pressed.number, {"withdrawn": True}, "undone at the bench", at=place.now, by=_who(job)
    )
    place.logbook.write(entry)
    return Pressed(phrase("undone: {said}", said=pressed.said))


def recent(place: BenchPlace, number: int) -> Pressed:
    """A press by the number of its entry, for a page that remembers no more of it.

    Raises
    ------
    UsageError
        No key of this job wrote it, or it is undone.
    """
    entry = place.logbook.entry(number)
    if entry is None or entry.job != place.job or entry.kind not in WRITTEN:
        raise UsageError("undo: found no press of this job. Use `curewatch job withdraw`")
    if telling.correctable(worklog.read(place.logbook, place.job), number).payload.get("withdrawn"):
        raise UsageError("undo: found it undone already. Press the key again to write it")
    return _again(entry)


def told_before(place: BenchPlace) -> Pressed | None:
    """The entry of this very press, where it came before and its answer was lost."""
    if place.once is None:
        return None
    told = place.logbook.entries(job=place.job)
    return next((_again(entry) for entry in reversed(told) if entry.key == place.once), None)


def _again(entry: StoredEntry) -> Pressed:
    what = str(entry.payload.get("observed") or entry.kind)
    of = str(entry.payload.get("layer") or entry.payload.get("batch") or entry.job)
    return Pressed(phrase("{what} of {of}", what=what, of=of), entry.number, entry.recorded)


def newest(place: BenchPlace) -> Layer | None:
    """The layer that keys speak of: the last one of this part that is running."""
    running = layer_log.running(place.logbook, place.now)
    own = [each for each in running if (each.job, each.part) == (place.job, place.part)]
    return max(own, key=lambda each: each.started, default=None)


def _who(job: Job) -> str | None:
    return job.last_person(EntryKind.NOTE)


def _written(place: BenchPlace, kind: EntryKind, job: Job, payload: dict[str, Any]) -> StoredEntry:
    who = _who(job)
    further = {"by": who} if who else {}
    return place.logbook.write(
        Entry(kind, payload | further, place.now, job=job.name, key=place.once, recorded=place.now)
    )


def _mixed(place: BenchPlace, job: Job) -> Pressed:
    resin, planned = planned_batch(place, job)
    added = telling.added_mass(planned)
    ratio, _ = telling.proportions(resin, planned["resin_mass"], added, scale_step=1e-4)
    payload = planned | {"ratio": ratio, "masses_assumed": True, "text": NOT_WEIGHED}
    entry = telling.batch(job, payload, place.now)
    stored = _written(place, EntryKind.BATCH, job, dict(entry.payload))
    words = "{batch} mixed, {mass:mass} as planned"
    said = phrase(words, batch=str(stored.payload["batch"]), mass=planned["resin_mass"] + added)
    return Pressed(said, stored.number, place.now)


def planned_batch(place: BenchPlace, job: Job) -> tuple[Resin, dict[str, Any]]:
    """The masses of the last batch of this job, else the configured batch at its ratio."""
    shelf, last = place.configuration.resin, job.last(EntryKind.BATCH)
    name = str((last and last.payload.get("resin")) or job.opened.payload.get("resin") or shelf.name)
    resin = load_resin(name, shelf.folder)
    key = f"{resin.chemistry.added}_mass"
    lots = ("resin_lot", f"{resin.chemistry.added}_lot")
    if last is not None and key in last.payload:
        kept = {each: last.payload[each] for each in ("resin_mass", key, *lots) if last.payload.get(each)}
        return resin, {"resin": name} | kept
    if shelf.batch_mass_g is None:
        raise UsageError(
            "batch: found no planned mass. Use [resin] batch_mass_g, or weigh the first: curewatch job batch"
        )
    usual = shelf.peroxide_percent if name == shelf.name else None
    dose = resin.configured_dose(usual, place.configuration.file)
    found = mixing.batch(
        mixing.of_resin(resin, dose), kilogram_from_gram(shelf.batch_mass_g), scale_step=1e-4
    )
    lot = {"resin_lot": shelf.lot} if shelf.lot and name == shelf.name else {}
    return resin, {"resin": name, "resin_mass": found.resin, key: found.added} | lot


def _laid(place: BenchPlace, job: Job, *, sure: bool) -> Pressed:
    told = {key: value for key, value in laying.before(job).items() if value}
    told["part"] = place.part
    mixed = laying.layer_of_batches(job, told.get("batches"))
    started = place.now if mixed is None else min(mixed.started, place.now)
    if not sure:
        questions = contradictions(job, ToldTime(EntryKind.LAYER, started, place.now))
        if mixed is None:
            questions.append(phrase("no batch is mixed that was not laid yet"))
        if questions:
            return _question(questions)
    layer = laying.layer(place.configuration, place.logbook, told, job=job, mixed=mixed, started=started)
    stored = laying.begin(place.logbook, layer, told, place.now, afterwards=False, key=place.once)
    batches = ", ".join(told.get("batches") or ()) or "no batch told"
    said = phrase("{layer} laid from {batches}", layer=layer.named, batches=batches)
    return Pressed(said, stored.number, place.now)


def _question(questions: list[Any]) -> Pressed:
    """The first contradiction; whoever is sure of one is asked no further."""
    return Pressed(questions[0])


def _meant(place: BenchPlace) -> Layer:
    layer = newest(place)
    if layer is None:
        raise UsageError(f"{place.part}: found no running layer. Use `laid` first")
    return layer


def _peel_ply(place: BenchPlace, job: Job) -> Pressed:
    layer = _meant(place)
    if layer.peel_ply_on is not None and place.now - layer.peel_ply_on < UNDO_FOR:
        raise UsageError(f"peel ply: found it on {layer.layer} already, less than a minute ago. Use undo")
    action = "on" if layer.peel_ply_on is None else "off"
    stored = _written(place, EntryKind.PEEL_PLY, job, {"layer": layer.layer, "action": action})
    said = phrase(f"peel ply {action} {{layer}}", layer=layer.named)
    return Pressed(said, stored.number, place.now)


def _pot_empty(place: BenchPlace, job: Job) -> Pressed:
    every = (each for each in pot_log.unlaid(place.logbook, place.now) if each.job == job.name)
    waiting = [each for each in every if place.now - each.mixed <= RECENT]
    if waiting:
        last = max(waiting, key=lambda each: each.mixed).batch
        stored = _written(place, EntryKind.POT_EMPTY, job, {"batch": last})
        return Pressed(phrase("pot of {batch} is empty", batch=last), stored.number, place.now)
    layer = _meant(place)
    if layer.pot_emptied is not None:
        raise UsageError(f"pot of {layer.layer}: found it empty already. Use undo, or `mixed` for a new pot")
    stored = _written(place, EntryKind.POT_EMPTY, job, {"layer": layer.layer})
    return Pressed(phrase("pot of {layer} is empty", layer=layer.named), stored.number, place.now)


def _note(place: BenchPlace, job: Job, text: str) -> Pressed:
    said = " ".join(text.split())[:2000]
    if not said:
        raise UsageError("note: found nothing written. Use a few words")
    stored = _written(place, EntryKind.NOTE, job, {"text": said, "part": place.part})
    return Pressed(phrase("note kept: {text}", text=said), stored.number, place.now)


def _seen(place: BenchPlace, job: Job, key: BenchKey, *, sure: bool) -> Pressed:
    layer = _meant(place)
    learning = observing.learning(place, observing.Sighting(str(key), layer))
    if learning.lesson.contradicts and not sure:
        expected = layer.started + learning.lesson.expected
        words = "{layer} {seen} now is not expected; it was likely at {expected:moment}"
        return Pressed(phrase(words, layer=layer.named, seen=str(key), expected=expected))
    entry = observing.entry(place, learning, job.name, _who(job))
    stored = place.logbook.write(
        Entry(entry.kind, entry.payload, entry.at, job=entry.job, key=place.once, recorded=place.now)
    )
    return Pressed(phrase("{layer} {seen}", layer=layer.named, seen=str(key)), stored.number, place.now)
