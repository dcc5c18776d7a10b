"""Timber primers that wait for their laminate, read from the logbook's entries."""

from msgspec import Struct

from curewatch.logbook import EntryKind, LogbookStore
from curewatch.units import HOUR

LONGEST = 12 * HOUR  # s after which nothing more is said of a primer (assumed)


class PrimerCoat(Struct, frozen=True):
    """A coat of primer on bare timber, on which nothing was laid yet."""

    name: str  # P1, P2 …
    at: float  # UTC, when it was brushed on [s]
    tacky_after: float  # [s]
    open_for: float | None  # s after which it is no longer tacky, as its sheet says; none: not told
    job: str | None = None
    part: str = ""

    @property
    def named(self) -> str:
        """Job, part and coat, as they are said."""
        place = " ".join(each for each in (self.job, self.part) if each)
        return f"{place}, {self.name}" if place else self.name


def waiting(logbook: LogbookStore, now: float) -> tuple[PrimerCoat, ...]:
    """The primers of the last hours on which no layer of their job and part was laid since. [UTC s]"""
    layers = logbook.entries(EntryKind.LAYER, start=now - LONGEST)
    laid = [(entry.job, str(entry.payload.get("part", "")), entry.at) for entry in layers]
    found = []
    for entry in logbook.entries(EntryKind.PRIMER, start=now - LONGEST):
        told, part = entry.payload, str(entry.payload.get("part", ""))
        if any(job == entry.job and of in ("", part) and at >= entry.at for job, of, at in laid):
            continue
        ends = told.get("open_for")
        found.append(
            PrimerCoat(
                str(told["primer"]),
                entry.at,
                float(told["tacky_after"]),
                None if ends is None else float(ends),
                entry.job,
                part,
            )
        )
    return tuple(found)
