"""The batches that were mixed and that nothing was laid from yet, read from the logbook's entries."""

from typing import Any, NamedTuple

from curewatch.logbook import LogbookStore
from curewatch.shed.layer_log import standing
from curewatch.units import DAY

KINDS = ("batch", "layer", "pot-empty", "correction")
LONGEST = DAY  # after that nothing is foreseen of a pot: in the cold a slow one kicks after 6 to 20 h [s]


class MixedBatch(NamedTuple):
    """A batch in its pot."""

    job: str
    batch: str
    resin: str
    mass: float  # [kg]
    peroxide_percent: float | None
    mixed: float  # UTC [s]


def unlaid(logbook: LogbookStore, now: float) -> tuple[MixedBatch, ...]:
    """Every batch of the last day in its pot: not laid, and nobody said that it is empty."""
    found: dict[tuple[str, str], MixedBatch] = {}
    over: set[tuple[str, str]] = set()
    for entry, payload in standing(logbook.entries(KINDS)):
        job = str(entry.job or "")
        if entry.kind == "batch":
            batch = _read(job, entry.at, payload)
            if batch is not None and 0 <= now - batch.mixed <= LONGEST:
                found[job, batch.batch] = batch
        elif entry.kind == "layer":
            over |= {(job, str(name)) for name in payload.get("batches") or ()}
        elif payload.get("batch"):
            over.add((job, str(payload["batch"])))
    return tuple(batch for key, batch in found.items() if key not in over)


def _read(job: str, at: float, payload: Any) -> MixedBatch | None:
    """None for an entry that another program wrote in a form of its own."""
    try:
        resin_mass, peroxide = float(payload["resin_mass"]), payload.get("peroxide_mass")
        added = float(payload["hardener_mass"] if peroxide is None else peroxide)
        mixed = float(payload.get("at", at))
        percent = None if peroxide is None else 100.0 * added / resin_mass
        return MixedBatch(
            job, str(payload["batch"]), str(payload["resin"]), resin_mass + added, percent, mixed
        )
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
