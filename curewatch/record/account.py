"""What a record says, gathered from the logbook as one value; nothing here writes or draws.

Everything is taken from the sealed part of the logbook: entries and readings after the seal are not
part of the record. Corrections are applied and shown (``worklog``).
"""

import re
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple, cast
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from msgspec import Struct

from curewatch import worklog
from curewatch.advice.judge import rule_sets
from curewatch.advice.judge.rules import Judgement, Spans
from curewatch.clock import utc_from_iso
from curewatch.configuration.shape import ROLES_BY_NAME
from curewatch.errors import CurewatchError, UsageError
from curewatch.logbook import EntryKind, LogbookStore, StoredEntry
from curewatch.logbook.sealing import Seal
from curewatch.logbook.series import BlockRows
from curewatch.materials import load_resin
from curewatch.materials.resin import Resin
from curewatch.materials.substrate import Substrate, load_substrate
from curewatch.model.film.blush import FRESH_AIR
from curewatch.record.evidence import RecordEvidence
from curewatch.record.laid import buildup
from curewatch.record.layer_history import LayerHistory, follow
from curewatch.record.measured import Measured, Post, as_probed, measure, part_of
from curewatch.record.proof import ProofWindow, window
from curewatch.shed import learnt
from curewatch.units import DAY, HOUR, MINUTE

BEFORE = 24 * HOUR  # rule sets look back so far before the work [s]
LONGEST = 366 * DAY  # before its end that a record looks at: a wrong year must not fill the memory [s]
_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,79}")  # a resin's name, never a path
_WHO_SIGNS = (EntryKind.KEY, EntryKind.RESTORED)  # shown whenever it was
_LAYER = re.compile(r"L\d+")  # how layers are named
SILENCE = 15 * MINUTE  # without a reading for so long, a minute is not known [s]
BACKWARDS = 5.0  # s that stamps may run back before it is shown: clocks are set in smaller steps


class SensorShare(NamedTuple):
    """What one sensor contributed."""

    post: Post
    readings: int
    silences: tuple[tuple[float, float], ...]  # of the job, longer than SILENCE: from and until, UTC [s]
    late: int  # readings that arrived more than a quarter of an hour after they were measured
    of_unknown_age: int  # beside the readings: kept by a broker, without a time of their own
    check: Mapping[str, Any] | None  # its last two-point check
    checked_at: float | None  # UTC [s]

    @property
    def silent_minutes(self) -> int:
        """How long it said nothing, all silences together."""
        return round(sum(until - since for since, until in self.silences) / MINUTE)


class Disorder(NamedTuple):
    """Stamps that run backwards: a clock was set back, or somebody wrote later with an earlier time."""

    what: str
    at: float  # UTC, of the line that is earlier than the one before it [s]
    seconds: float


class Account(Struct, frozen=True):
    """All that the pages say."""

    job: worklog.Job
    block: int  # as far as it goes
    part: ProofWindow
    zone: ZoneInfo
    start: float  # the job's opening, UTC [s]
    end: float  # its closing, or when it was written, UTC [s]
    closed: bool
    setting: Mapping[str, Any]  # the configuration that held
    measured: Measured  # from a day before the start
    courses: tuple[LayerHistory, ...]
    judgements: tuple[Judgement, ...]
    heard: tuple[SensorShare, ...]
    shed: tuple[StoredEntry, ...]  # entries about the shed while the job ran
    disorder: tuple[Disorder, ...]

    def of_shed(self, *kinds: str) -> tuple[StoredEntry, ...]:
        """Entries about the shed of these kinds."""
        return tuple(one for one in self.shed if one.kind in kinds)

    def alerts(self) -> tuple[StoredEntry, ...]:
        """Alerts of the job's time, in order: of the shed, its sensors and this job's layers."""
        own = {str(told.payload.get("layer")) for told in self.job.of(EntryKind.LAYER)}
        found = [told.entry for told in self.job.of(EntryKind.ALERT)]
        found += [
            one
            for one in self.of_shed(EntryKind.ALERT)
            if one.at >= self.start
            and (one.payload.get("subject") in own or not _LAYER.fullmatch(str(one.payload.get("subject"))))
        ]
        return tuple(sorted(found, key=lambda one: one.at))


class Until(NamedTuple):
    """How far a record goes: a block of the chain, and the moment it was written."""

    block: int
    at: str  # ISO 8601


def gather(
    logbook: LogbookStore, name: str, until: Until | Seal, resins: Mapping[str, str] | None = None
) -> Account:
    """The account of one job as far as a block; ``resins`` are own resin files, by name.

    Raises
    ------
    UsageError
        There is no such job.
    """
    at = utc_from_iso(until.at)
    start, end = reach(worklog.read(logbook, name), until.block, at)
    part = window(logbook, name, until.block, start - BEFORE, end + MINUTE)
    blocks = logbook.block_rows(part.readings_from, part.last)
    return account_of(part, blocks, logbook.tokens(), name=name, until=until, resins=resins or {})


def reach(job: worklog.Job, block: int, at: float) -> tuple[float, float]:
    """From when to when a job's record goes, told as far as a block. UTC [s]"""
    told = [
        one.at
        for one in job.told
        if one.entry.block <= block and one.entry.kind not in (EntryKind.ACCOUNT, EntryKind.SEAL)
    ]
    start = min(job.opened.at, *told)
    end = min(max(told, default=start), at + DAY) if _closed(job, block) else at
    return max(start, end - LONGEST), end


def _closed(job: worklog.Job, block: int) -> bool:
    return job.closed is not None and job.closed.entry.block <= block


def account_of(
    part: ProofWindow,
    blocks: Iterable[BlockRows],
    tokens: Mapping[int, str],
    *,
    name: str,
    until: Until | Seal,
    resins: Mapping[str, str],
) -> Account:
    """The account that these entries and readings give, when it is written and when it is verified."""
    entries = tuple(one for one in part.entries if one.block <= until.block and one.kind != EntryKind.ACCOUNT)
    part = part._replace(entries=entries, last=until.block)
    evidence = cast(
        "LogbookStore", RecordEvidence(entries, (one for one in blocks if one.block <= until.block), tokens)
    )
    job = worklog.read(evidence, name)
    start, end = reach(job, until.block, utc_from_iso(until.at))
    setting = _setting(entries)
    posts = _posts(entries, evidence)
    substrate = _substrate(job.opened.payload, setting)
    measured = measure(evidence, posts, start - BEFORE, end, substrate, carbon_dioxide=_gas(setting))
    told = [each.payload for each in job.of(EntryKind.LAYER)]
    with _resin_folder(resins) as folder:
        named = partial(_resin_of, evidence, folder)
        courses = tuple(
            follow(
                each,
                _along(evidence, measured, each, end),
                end,
                named,
                lambda layer: buildup(layer, told, substrate, named),
            )
            for each in told
        )
    return Account(
        job=job,
        block=until.block,
        part=part,
        zone=_zone(job.opened.payload, setting),
        start=start,
        end=end,
        closed=job.closed is not None,
        setting=setting,
        measured=measured,
        courses=courses,
        judgements=_judgements(job, courses, measured, setting, end),
        heard=tuple(_heard(evidence, post, entries, start, end) for post in posts),
        shed=tuple(one for one in entries if one.job is None and _concerns(one, start, end)),
        disorder=tuple(_disorder(evidence, part)),
    )


def _gas(setting: Mapping[str, Any]) -> float:
    """Carbon dioxide of the shed as it was configured. [1]"""
    gas = dict(setting.get("shed", {})).get("carbon_dioxide")
    return float(gas) if isinstance(gas, int | float) else FRESH_AIR


def _concerns(entry: StoredEntry, start: float, end: float) -> bool:
    """Whether an entry of the shed belongs to a job's time, or names who signs."""
    return start - BEFORE <= entry.at <= end or entry.kind in _WHO_SIGNS


def _resin_of(
    evidence: "LogbookStore", folder: Path | None, resin: str, lot: str | None, layer: str
) -> Resin:
    if not _PLAIN.fullmatch(resin):
        raise UsageError(f"no resin system is called {resin!r}")
    return learnt.resin_of_lot(evidence, load_resin(resin, folder), lot, layer)


@contextmanager
def _resin_folder(resins: Mapping[str, str]) -> Iterator[Path | None]:
    """Own resin files that a record carries, as a folder; only plain names are ever written."""
    if not resins:
        yield None
        return
    with tempfile.TemporaryDirectory(prefix="curewatch-") as made:
        for name, text in resins.items():
            if _PLAIN.fullmatch(name):
                (Path(made) / f"{name}.toml").write_text(text, encoding="utf-8")
        yield Path(made)


def own_resins(job: worklog.Job, folder: Path | None) -> dict[str, str]:
    """The own resin files that a job's account rests on, by name: of its layers, and their bases."""
    names = [str(told.payload.get("resin")) for told in job.of(EntryKind.LAYER)]
    found: dict[str, str] = {}
    while names and folder is not None:
        name = names.pop()
        path = folder / f"{name}.toml"
        if name in found or not _PLAIN.fullmatch(name) or not path.is_file():
            continue
        found[name] = path.read_text(encoding="utf-8")
        names += re.findall(r'^based_on\s*=\s*"([^"]+)"', found[name], re.MULTILINE)
    return found


def _setting(entries: Sequence[StoredEntry]) -> Mapping[str, Any]:
    """The last configuration of the record."""
    found = [one.payload for one in entries if one.kind == EntryKind.CONFIGURATION]
    return found[-1] if found else {}


def _posts(entries: Sequence[StoredEntry], logbook: LogbookStore) -> tuple[Post, ...]:
    """Every sensor that any configuration of the record names; without one, what the names tell."""
    found: dict[str, Post] = {}
    for one in entries:
        if one.kind == EntryKind.CONFIGURATION:
            for name, row in dict(one.payload.get("sensors", {})).items():
                found[name] = Post(name, str(row.get("role", "")), part_of(str(row.get("part", ""))))
    if not found:
        for name in logbook.sensors():
            role = ROLES_BY_NAME.get(name.lower())
            if role:
                found[name] = Post(name, role, part_of("unknown"))
    return tuple(found.values())


def _along(logbook: LogbookStore, measured: Measured, payload: Mapping[str, Any], end: float) -> Measured:
    """What a layer went through: by the probe in it, where one was bound."""
    name, started = payload.get("probe"), payload.get("started")
    if not isinstance(name, str) or not name or not isinstance(started, int | float):
        return measured
    return as_probed(logbook, measured, name, float(started), end)


def _substrate(opened: Mapping[str, Any], setting: Mapping[str, Any]) -> Substrate | None:
    shed = dict(setting.get("shed", {}))
    name = opened.get("substrate") or shed.get("substrate")
    try:
        return load_substrate(str(name), opened.get("thickness") or shed.get("thickness")) if name else None
    except CurewatchError:
        return None


def _zone(opened: Mapping[str, Any], setting: Mapping[str, Any]) -> ZoneInfo:
    name = opened.get("zone") or dict(setting.get("shed", {})).get("zone") or "UTC"
    try:
        return ZoneInfo(str(name))
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return ZoneInfo("UTC")


# -- rules --------------------------------------------------------------------------------------


def _judgements(
    job: worklog.Job,
    courses: Sequence[LayerHistory],
    measured: Measured,
    setting: Mapping[str, Any],
    end: float,
) -> tuple[Judgement, ...]:
    """Every rule set over the whole record; none if nothing was laid up."""
    if not courses:
        return ()
    spans = _spans(courses, end, closed=job.closed is not None)
    conditions = measured.conditions()
    found = [rule_sets.classed_workshop(conditions, spans)]
    resins = {course.resin.name: course.resin for course in courses if course.resin}
    found += [rule_sets.datasheet(conditions, spans, resin) for resin in resins.values()]
    if not resins:
        found.append(Judgement("datasheet", "Resin system's sheet", "the resin's file is not at hand", ()))
    found.append(rule_sets.coating(conditions, spans))
    own = {
        key: value for key, value in dict(setting.get("limits", {})).items() if isinstance(value, int | float)
    }
    if own:
        found.append(rule_sets.own(conditions, spans, own))
    asked = {str(one).replace(" ", "-") for one in job.opened.payload.get("rules") or ()}
    return tuple(sorted(found, key=lambda one: one.name not in asked))


def _spans(courses: Sequence[LayerHistory], end: float, *, closed: bool) -> Spans:
    starts = [course.started for course in courses]
    return Spans(min(starts), max(starts), max(map(_cured, courses)), end, closed)


def _cured(course: LayerHistory) -> float:
    """When a slow lot is tack-free, or firm where air keeps it tacky; infinite if not within the record."""
    for name in ("tack-free", "firm"):
        mark = course.marks.get(name)
        if mark is not None and mark.late is not None:
            return mark.late
    return float("inf")


# -- sensors ------------------------------------------------------------------------------------


def _heard(
    logbook: LogbookStore, post: Post, entries: Sequence[StoredEntry], start: float, end: float
) -> SensorShare:
    found = logbook.series(post.name, start, end)
    seen = found.dated()
    edges = np.concatenate(([start], seen.time, [end]))
    silent = np.flatnonzero(np.diff(edges) > SILENCE)
    checks = [
        one
        for one in entries
        if one.kind == EntryKind.SENSOR_CHECK and one.payload.get("sensor") == post.name
    ]
    return SensorShare(
        post,
        len(seen.time),
        tuple((float(edges[n]), float(edges[n + 1])) for n in silent),
        int((seen.received - seen.time > 15 * MINUTE).sum()),
        len(found.time) - len(seen.time),
        checks[-1].payload if checks else None,
        checks[-1].at if checks else None,
    )


def _disorder(logbook: LogbookStore, part: ProofWindow) -> Iterator[Disorder]:
    """Where the time of arrival, or of telling, runs backwards along the chain."""
    last = None
    for _, _, found in logbook.block_rows(part.readings_from, part.last):
        received = found["received"] / 1e3
        line = received if last is None else np.concatenate(([last], received))
        for n in np.flatnonzero(np.diff(line) < -BACKWARDS)[:20]:
            yield Disorder("readings", float(line[n + 1]), float(line[n] - line[n + 1]))
        last = float(received[-1]) if len(received) else last
    for before, one in zip(part.entries, part.entries[1:], strict=False):
        if one.recorded < before.recorded - BACKWARDS:
            yield Disorder(
                f"entry {one.number} ({one.kind.replace('-', ' ')})",
                one.recorded,
                before.recorded - one.recorded,
            )
