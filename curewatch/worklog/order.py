"""In what order things can have happened: what is told against it is asked back, never guessed.

A time ahead of now cannot be told. A batch is mixed after its job was opened and before its layer is laid;
what is seen of a layer comes after it was mixed. What contradicts this is a slip more often than not.
"""

from collections.abc import Iterator
from typing import NamedTuple

from curewatch.logbook import EntryKind
from curewatch.phrases import Phrase, phrase
from curewatch.units import MINUTE
from curewatch.worklog.job import Job

SLACK = MINUTE  # times are told to the minute [s]


class ToldTime(NamedTuple):
    """What is about to be told."""

    kind: str
    at: float  # UTC [s]
    now: float  # UTC [s]
    batches: tuple[str, ...] = ()  # a layer is laid from
    layer: str = ""  # it is told of


def contradictions(job: Job | None, told: ToldTime) -> list[Phrase]:
    """Each thing that this time contradicts, as a question to the person; empty where none."""
    return [*_with_now(told), *(() if job is None else _with_job(job, told))]


def _with_now(told: ToldTime) -> Iterator[Phrase]:
    if told.at > told.now + SLACK:
        yield phrase("{at:moment} is still to come", at=told.at)


def _with_job(job: Job, told: ToldTime) -> Iterator[Phrase]:
    if told.at < job.opened.at - SLACK:
        words = "{at:moment} is before job {job} was opened, {opened:moment}"
        yield phrase(words, at=told.at, job=job.name, opened=job.opened.at)
    used = [batch for batch in job.of(EntryKind.BATCH) if batch.payload.get("batch") in told.batches]
    first = min(used, key=lambda batch: batch.at, default=None)  # a further cup is mixed while one lays
    if first is not None and told.at < first.at - SLACK:
        words = "{at:moment} is before {batch} was mixed, {mixed:moment}"
        yield phrase(words, at=told.at, batch=str(first.payload["batch"]), mixed=first.at)
    for layer in job.of(EntryKind.LAYER):
        if told.layer and layer.payload.get("layer") == told.layer and told.at < layer.at - SLACK:
            words = "{at:moment} is before {layer} was mixed, {mixed:moment}"
            yield phrase(words, at=told.at, layer=told.layer, mixed=layer.at)
