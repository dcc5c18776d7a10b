"""The parts of the work that are open: a chance is for them, and a lost sensor leaves them unseen."""

from collections.abc import Iterable

from curewatch.jobs import OpenPart, part_of
from curewatch.logbook import EntryKind, LogbookStore
from curewatch.shed import layer_log

KINDS = (EntryKind.JOB_OPEN, EntryKind.JOB_CLOSE, EntryKind.JOB_REOPEN, EntryKind.LAYER, EntryKind.CORRECTION)
LONGEST = 45  # characters: a job, and a part of forty


def open_parts(logbook: LogbookStore, now: float) -> tuple[OpenPart, ...]:
    """Of the open jobs, and of layers that run without one; the last told of first. [UTC s]"""
    found, titles, closed = dict[tuple[str, str], OpenPart](), dict[str, str](), set[str]()
    for entry, payload in layer_log.standing(logbook.entries(KINDS)):
        job = str(entry.job or payload.get("job") or "")
        if entry.kind == EntryKind.JOB_OPEN:
            titles[job] = part_of(str(payload.get("title") or ""))
            found[job, ""] = OpenPart(job, titles[job])
        elif entry.kind == EntryKind.LAYER:
            part = OpenPart(job, str(payload.get("part") or titles.get(job, "")), str(payload.get("resin")))
            for known in ((job, ""), part[:2]):
                found.pop(known, None)
            found[part[:2]] = part
        else:
            closed = closed | {job} if entry.kind == EntryKind.JOB_CLOSE else closed - {job}
    run = {(layer.job or "", layer.part) for layer in layer_log.running(logbook, now)}
    still = titles.keys() - closed
    told = (each for each in reversed(found.values()) if each.job in still or each[:2] in run)
    return tuple(each for each in told if each.named)


def named(parts: Iterable[OpenPart], longest: int = LONGEST) -> str:
    """The first, as many more as fit, and how many are left: ``J2 tiller; J1 rudder cheek and 3 more``."""
    names = list(dict.fromkeys(each.named for each in parts))
    for count in range(len(names), 0, -1):
        left = len(names) - count
        told = "; ".join(names[:count]) + (f" and {left} more" if left else "")
        if len(told) <= longest or count == 1:
            return told
    return ""
