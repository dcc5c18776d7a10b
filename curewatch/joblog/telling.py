"""What a person tells, made into entries: names given, masses held against the ratio, nothing edited."""

from collections.abc import Mapping
from typing import Any

from curewatch.advice import mixing
from curewatch.errors import UsageError
from curewatch.joblog.job import BENCH_KINDS, Job
from curewatch.logbook import Entry, Kind, Logbook, Stored
from curewatch.materials.system import ResinSystem


def next_name(letter: str, taken: int) -> str:
    """``B1``, ``B2`` …: short enough to write on a cup."""
    return f"{letter}{taken + 1}"


def opening(logbook: Logbook, payload: Mapping[str, Any], at: float, name: str | None = None) -> Entry:
    """A job is opened.

    Raises
    ------
    UsageError
        A job of this name is there already.
    """
    taken = [str(entry.job) for entry in logbook.entries(Kind.JOB_OPEN)]
    chosen = name or next_name("J", len(taken))
    if chosen in taken:
        raise UsageError(f"there is a job {chosen!r} already; choose another name, or leave it out")
    return Entry(Kind.JOB_OPEN, {"job": chosen, **payload}, at, job=chosen, key=f"job-open {chosen}")


def proportions(
    system: ResinSystem, resin: float, hardener: float, *, scale_step: float
) -> tuple[dict[str, Any], str]:
    """How the masses as weighed stand to what the system bears, and what to do if they do not.

    For a polyester or vinyl ester the hardener is peroxide, and its per cent by mass of resin is held
    against the system's doses.
    """
    if system.mix is not None:
        origin = system.origins["mix.hardener_mass"]
        usual = mixing.proportion(system.mix, origin)
        found = mixing.check(usual, resin, hardener, scale_step=scale_step)
        text = f"{found.text} ({origin.tag})"
        return {"within": found.within, "text": text}, found.advised
    if system.dose is None:
        raise UsageError(f"{system.name} names neither a mixing ratio nor doses; complete its file")
    percent = 100 * hardener / resin
    low, high = system.dose.peroxide_low, system.dose.peroxide_high
    within = low <= percent <= high
    advised = "" if within else "do not use it as it is: outside its doses it may stay soft, or overheat"
    return {"within": within, "text": f"{percent:.1f} % peroxide; allowed {low:g} to {high:g} %"}, advised


def batch(job: Job, payload: Mapping[str, Any], at: float) -> Entry:
    """A cup was weighed and mixed."""
    name = next_name("B", len(job.of(Kind.BATCH)))
    return Entry(Kind.BATCH, {"batch": name, **payload}, at, job=job.name)


def layup_of(job: Job, named: str | None) -> str:
    """The layup that is meant: the named one, else the last.

    Raises
    ------
    UsageError
        The job has no such layup.
    """
    known = [str(item.payload["layup"]) for item in job.of(Kind.LAYUP)]
    if named is None and known:
        return known[-1]
    if named in known and named is not None:
        return named
    there = ", ".join(known) or "none yet: say `curewatch layer` when you start one"
    raise UsageError(f"job {job.name} has no layup {named or ''}; its layups: {there}".replace("  ", " "))


def correction(
    job: Job, number: int, changes: Mapping[str, Any], why: str, *, at: float, by: str | None = None
) -> Entry:
    """New values for keys of an earlier entry, as an entry of its own.

    Raises
    ------
    UsageError
        The entry is not one of this job, or not one that people tell.
    """
    found = [item for item in job.told if item.number == number]
    correctable = [item.number for item in job.told if item.kind in BENCH_KINDS]
    if not found or number not in correctable:
        there = ", ".join(map(str, correctable)) or "none"
        raise UsageError(
            f"entry {number} of job {job.name} cannot be corrected; those that people told can: {there}"
        )
    payload = {"corrects": number, "changes": dict(changes), "why": why}
    return Entry(Kind.CORRECTION, payload | ({"by": by} if by else {}), at, job=job.name)


def changed(told: Stored | None, changes: Mapping[str, Any]) -> list[str]:
    """``key: before -> after`` for people."""
    before = {} if told is None else told.payload
    return [f"{key}: {before.get(key, 'nothing')} -> {value}" for key, value in changes.items()]
