"""What a person tells, made into entries: names given, masses held against the ratio, nothing edited."""

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import count
from typing import Any, NamedTuple

from msgspec.structs import replace

from curewatch.advice.plan import mixing
from curewatch.configuration import Configuration
from curewatch.errors import UsageError
from curewatch.jobs import look_alike
from curewatch.logbook import Entry, EntryKind, LogbookStore
from curewatch.materials.resin import Resin
from curewatch.phrases import Said
from curewatch.units import HOUR, MINUTE
from curewatch.worklog.job import BENCH_KINDS, CorrectedEntry, Job

TACKY, TACKY_LONGEST = 20 * MINUTE, 12 * HOUR  # of a timber primer (common practice; assumed) [s]

ROUNDED = 1.05  # times what was weighed may be told of a pot: people round


def next_name(letter: str, taken: int) -> str:
    """``B1``, ``B2`` …: short enough to write on a cup."""
    return f"{letter}{taken + 1}"


def opening(logbook: LogbookStore, payload: Mapping[str, Any], at: float, name: str | None = None) -> Entry:
    """A job is opened.

    Raises
    ------
    UsageError
        A job of this name is there already.
    """
    taken = [str(entry.job) for entry in logbook.entries(EntryKind.JOB_OPEN)]
    chosen = name or next(free for n in count(len(taken)) if (free := next_name("J", n)) not in taken)
    if look_alike(chosen):
        raise UsageError(f"job {chosen!r}: found {look_alike(chosen)}. Use letters that cannot be mistaken")
    if chosen in taken:
        raise UsageError(f"there is a job {chosen!r} already; choose another name, or leave it out")
    return Entry(EntryKind.JOB_OPEN, {"job": chosen, **payload}, at, job=chosen, key=f"job-open {chosen}")


def primer(job: Job, values: Mapping[str, Any]) -> dict[str, Any]:
    """A coat of timber primer, named, with the usual time until it is tacky where none was told.

    Raises
    ------
    UsageError
        A time that no primer takes, or one that ends before it is tacky.
    """
    tacky = values.get("tacky_after", TACKY)
    if not MINUTE <= tacky <= TACKY_LONGEST:
        raise UsageError(f"--tacky-after: found {tacky / MINUTE:g} min. Use 1 min to 12 h")
    if values.get("open_for", TACKY_LONGEST) <= tacky:
        raise UsageError("--open-for: found less than --tacky-after. Use the longer time of its sheet")
    name = next_name("P", len(job.of(EntryKind.PRIMER)))
    return {**values, "primer": name, "tacky_after": tacky}


def proportions(
    resin: Resin, resin_mass: float, added: float, *, scale_step: float
) -> tuple[dict[str, Any], Said]:
    """How the masses as weighed stand to what the resin bears, and what to do if they do not. [kg]

    ``added`` is hardener, or peroxide of a polyester or vinyl ester, held against its doses.
    """
    found = mixing.check(mixing.of_resin(resin), resin_mass, added, scale_step=scale_step)
    return {"within": found.within, "text": found.text}, found.advised


def cup_within(mass: float | None, payload: Mapping[str, Any]) -> None:
    """UsageError where the cup of a batch is told to hold more than the batch. [kg]"""
    poured = float(payload["resin_mass"]) + added_mass(payload)
    if mass is not None and mass > ROUNDED * poured:
        raise UsageError(
            f"--probe-mass: found {1000 * mass:.4g} g, but the batch weighs {1000 * poured:.4g} g. "
            "Use what is in that cup"
        )


def taken_over(
    values: dict[str, Any], before: Mapping[str, Any], given: Mapping[str, str | None]
) -> dict[str, Any]:
    """The values of a batch without the expiry of another lot, which went with that lot.

    ``before`` are those of the last batch, ``given`` what was told.
    """
    gone = {
        f"{each}_expiry"
        for each in ("resin", "hardener", "peroxide")
        if given.get(f"{each}_expiry") is None
        and before.get(f"{each}_lot") is not None
        and values.get(f"{each}_lot") != before.get(f"{each}_lot")
    }
    return {key: value for key, value in values.items() if key not in gone}


def added_mass(payload: Mapping[str, Any]) -> float:
    """Mass of hardener or peroxide in a batch. [kg]"""
    said = payload.get("hardener_mass")
    return float(payload["peroxide_mass"] if said is None else said)


def batch(job: Job, payload: Mapping[str, Any], at: float) -> Entry:
    """A cup was weighed and mixed."""
    name = next_name("B", job.count(EntryKind.BATCH))
    return Entry(EntryKind.BATCH, {"batch": name, **payload}, at, job=job.name)


class Mixed(NamedTuple):
    """What the batches that a layer is laid from say of it."""

    started: float  # UTC, when the first of them was mixed [s]
    afterwards: bool  # that time was told later
    resin: str | None
    lot: str | None
    mass: float  # the largest single pot [kg]
    resin_mass: float  # in that pot [kg]
    added_mass: float  # hardener or peroxide in that pot [kg]
    total: float  # of all of them [kg]
    names: str  # B1, B2
    probe: str = ""  # sensor in a cup of one of them
    probe_mass: float | None = None  # in that cup [kg]

    def bears(self, option: str, mass: float | None) -> None:
        """UsageError where more is told of a pot than was weighed."""
        if mass is not None and mass > ROUNDED * self.total:
            raise UsageError(
                f"{option}: found {1000 * mass:.4g} g, but {self.names} weighed {1000 * self.total:.4g} g. "
                "Use at most that, or mend the batch: curewatch job correct"
            )

    def peroxide_percent(self, resin: Resin) -> float | None:
        """Peroxide in that pot, per cent by mass of resin; None for an epoxy."""
        return None if resin.dose is None else self.dose

    @property
    def dose(self) -> float:
        """Hardener or peroxide in that pot, per cent by mass of resin."""
        return 100 * self.added_mass / self.resin_mass


def batches(job: Job, named: Sequence[str]) -> Mixed:
    """What the named batches of a job say of a layer laid from them.

    Raises
    ------
    UsageError
        One is not of this job, or they are of several resin systems.
    """
    told = {str(item.payload["batch"]): item for item in job.of(EntryKind.BATCH)}
    for name in named:
        if name not in told:
            there = ", ".join(told) or "none yet: weigh one with `curewatch job batch`"
            raise UsageError(f"job {job.name} has no batch {name}; its batches: {there}")
    used = [told[name] for name in named]
    resins = {item.payload.get("resin") for item in used}
    if len(resins) > 1:
        said = ", ".join(sorted(map(str, resins)))
        raise UsageError(f"batches of several resin systems ({said}) are not one layer: tell one layer each")
    first = min(used, key=lambda item: item.at)
    largest = max(used, key=_poured)
    return Mixed(
        first.at,
        bool(first.payload.get("given_afterwards")),
        resins.pop(),
        first.payload.get("resin_lot"),
        _poured(largest),
        float(largest.payload["resin_mass"]),
        added_mass(largest.payload),
        sum(_poured(item) for item in used),
        ", ".join(named),
        *_probed(used),
    )


def _probed(used: Sequence[CorrectedEntry]) -> tuple[str, float | None]:
    """The sensor in a cup of the first of these that has one, and how much is in that cup. [kg]"""
    for item in used:
        if item.payload.get("probe"):
            mass = item.payload.get("probe_mass")
            return str(item.payload["probe"]), _poured(item) if mass is None else float(mass)
    return "", None


def probe(configuration: Configuration, name: str | None, *roles: str) -> str:
    """The probe that is bound, by its name; empty if none is named.

    Raises
    ------
    UsageError
        No sensor of this name has one of these roles.
    """
    if not name:
        return ""
    if configuration.role_of(name) not in roles:
        there = ", ".join(each for each in configuration.sensors if configuration.role_of(each) in roles)
        known = f"Use one of {there}" if there else f'Give a sensor role = "{roles[0]}" in the configuration'
        raise UsageError(f"--probe: found {name!r}, which has not the role {' or '.join(roles)}. {known}")
    return name


def _poured(item: CorrectedEntry) -> float:
    return float(item.payload["resin_mass"]) + added_mass(item.payload)


def unused_batches(job: Job) -> list[str]:
    """Batches that no layer of the job was laid from yet, and whose pot nobody said is empty."""
    used = {name for item in job.of(EntryKind.LAYER) for name in item.payload.get("batches", ())}
    used |= {item.payload.get("batch") for item in job.of(EntryKind.POT_EMPTY)}
    names = (str(item.payload["batch"]) for item in job.of(EntryKind.BATCH))
    return [name for name in names if name not in used]


def layer_of(job: Job, named: str | None, at: float) -> str:
    """The layer that is meant at this moment: the named one, else the last that was begun by then.

    Raises
    ------
    UsageError
        The job has no such layer, or it had not begun.
    """
    known = {
        str(item.payload["layer"]): min(item.at, float(item.payload.get("started", item.at)))
        for item in job.of(EntryKind.LAYER)
    }
    if not known:
        raise UsageError(f"job {job.name} has no layer yet; say `curewatch layer` when you start one")
    if named is not None and named not in known:
        raise UsageError(f"job {job.name} has no layer {named!r}; its layers: {', '.join(known)}")
    begun = [name for name, start in known.items() if start <= at + MINUTE]  # times are told to the minute
    if not begun or (named is not None and named not in begun):
        raise UsageError(
            f"{named or 'no layer'} had {'not ' if named else ''}begun at that moment; give a later --at, or "
            "a shorter --ago, or correct when the layer was mixed: curewatch job correct"
        )
    return named or max(begun, key=lambda name: known[name])


def correctable(job: Job, number: int) -> CorrectedEntry:
    """The entry of this number as it stands.

    Raises
    ------
    UsageError
        The entry is not one of this job, or not one that people tell.
    """
    told = {item.number: item for item in job.told if item.kind in BENCH_KINDS}
    if number not in told:
        there = ", ".join(map(str, told)) or "none"
        raise UsageError(
            f"entry {number} of job {job.name} cannot be corrected; those that people told can: {there}"
        )
    return told[number]


def correction(
    job: Job, number: int, changes: Mapping[str, Any], reason: str, *, at: float, by: str | None = None
) -> Entry:
    """New values for keys of an earlier entry, as an entry of its own; UsageError as :func:`correctable`."""
    correctable(job, number)
    payload = {"corrects": number, "changes": dict(changes), "reason": reason}
    return Entry(EntryKind.CORRECTION, payload | ({"by": by} if by else {}), at, job=job.name)


FIXED = {  # others go by their name or their order
    EntryKind.JOB_OPEN,
    EntryKind.JOB_CLOSE,
    EntryKind.JOB_REOPEN,
    EntryKind.PRIMER,
    EntryKind.TAB_TEST,
    EntryKind.TAB,
}


def withdrawal(job: Job, number: int, reason: str, *, at: float, by: str | None = None) -> Entry:
    """That an earlier entry should not be there, as an entry of its own.

    Raises
    ------
    UsageError
        No reason; an entry that people did not tell, that is withdrawn, or that others go by.
    """
    found = correctable(job, number)
    if not reason.strip():
        raise UsageError("--reason: found none. Use a few words on why it is withdrawn")
    if found.kind in FIXED:
        kind = found.kind.replace("-", " ")
        raise UsageError(
            f"entry {number}: found {kind!r}, which others go by. Use `curewatch job correct {number}`"
        )
    if found.payload.get("withdrawn"):
        raise UsageError(f"entry {number}: found it withdrawn already; nothing was written down")
    resting = [str(each.number) for each in job.told if _rests_on(each, found)]
    if resting:
        there = ", ".join(resting)
        raise UsageError(f"entry {number}: found what was told of it. Withdraw that first: entry {there}")
    return correction(job, number, {"withdrawn": True}, reason, at=at, by=by)


def _rests_on(told: CorrectedEntry, below: CorrectedEntry) -> bool:
    """Whether an entry that stands tells something of this layer or batch."""
    if told.number == below.number or told.kind not in BENCH_KINDS or told.payload.get("withdrawn"):
        return False
    if below.kind == EntryKind.LAYER:
        return bool(told.payload.get("layer") == below.payload.get("layer"))
    batch = below.payload.get("batch")
    used = (told.payload.get("batch"), *(told.payload.get("batches") or ()))
    return below.kind == EntryKind.BATCH and batch in used


def followers(
    job: Job, before: CorrectedEntry, changes: Mapping[str, Any]
) -> list[tuple[CorrectedEntry, dict[str, Any]]]:
    """What took its lot or its masses from the entry that is corrected, and must not keep the wrong ones.

    A layer takes them from its batches, and what was seen of a layer teaches the model about its lot.
    """
    found: dict[int, tuple[CorrectedEntry, dict[str, Any]]] = {}
    for item, change in (*_of_lot(job, before, changes), *_of_masses(job, before, changes)):
        found.setdefault(item.number, (item, {}))[1].update(change)
    return list(found.values())


def _of_masses(
    job: Job, before: CorrectedEntry, changes: Mapping[str, Any]
) -> Iterator[tuple[CorrectedEntry, dict[str, Any]]]:
    """Layers that have their pot or their dose from the batch whose masses are corrected."""
    within = dict(changes.get("ratio") or {}).get("within")
    if before.kind != EntryKind.BATCH or not within or "resin" in changes:
        return
    after = replace(before, payload={**before.payload, **changes})
    there = {item.payload["batch"] for item in job.of(EntryKind.BATCH)}
    corrected = Job(job.name, tuple(after if item is before else item for item in job.told))
    for layer in job.of(EntryKind.LAYER):
        named = layer.payload.get("batches") or ()
        if before.payload["batch"] not in named or not there.issuperset(named):
            continue
        was, now = batches(job, named), batches(corrected, named)
        held = {"batch_mass": (was.mass, now.mass), "peroxide_percent": (was.dose, now.dose)}
        change = {
            key: new
            for key, (old, new) in held.items()
            if old != new and math.isclose(layer.payload.get(key) or 0.0, old)
        }
        if change:
            yield layer, change


def _of_lot(
    job: Job, before: CorrectedEntry, changes: Mapping[str, Any]
) -> list[tuple[CorrectedEntry, dict[str, Any]]]:
    """Layers and observations that have the lot that is corrected."""
    key = {EntryKind.BATCH: "resin_lot", EntryKind.LAYER: "lot"}.get(EntryKind(before.kind))
    if key is None or key not in changes or changes[key] == before.payload.get(key):
        return []
    wrong, change = before.payload.get(key), {"lot": changes[key]}
    layers = [before]
    if before.kind == EntryKind.BATCH:
        name = before.payload["batch"]
        layers = [item for item in job.of(EntryKind.LAYER) if name in item.payload.get("batches", ())]
        layers = [item for item in layers if item.payload.get("lot") == wrong]
    names = {item.payload["layer"] for item in layers}
    seen = [item for item in job.of(EntryKind.OBSERVATION) if item.payload.get("layer") in names]
    taken = [item for item in (*layers, *seen) if item is not before and item.payload.get("lot") == wrong]
    return [(item, change) for item in taken]
