"""The layups that are running, read from the logbook's entries, with what was corrected since."""

from collections.abc import Iterable
from dataclasses import replace

from curewatch.jobs import Layup, layup_from_plain
from curewatch.logbook import LogbookStore, Stored
from curewatch.units import DAY

LONGEST = 14 * DAY  # after that nothing more is counted down, closed or not [s]
KINDS = ("layup", "layup closed", "pot-empty", "correction")


def running(logbook: LogbookStore, now: float) -> tuple[Layup, ...]:
    """Every layup begun and not closed, oldest first, as corrected up to now."""
    return tuple(
        layup for layup in begun(logbook.entries(KINDS)).values() if 0 <= now - layup.started <= LONGEST
    )


def begun(entries: Iterable[Stored]) -> dict[str, Layup]:
    """The open layups by name that these entries, in their order, lead to.

    Entries that another program wrote in a form of its own are not layups and are passed over here;
    the record shows them as they are.
    """
    found: dict[str, Layup] = {}
    by_number: dict[int, str] = {}
    for entry in entries:
        if entry.kind == "layup":
            layup = _read(entry)
            if layup is not None:
                found[layup.layup] = layup
                by_number[entry.number] = layup.layup
        elif entry.kind == "layup closed":
            found.pop(str(entry.payload.get("layup")), None)
        elif entry.kind == "pot-empty":
            _emptied(found, entry)
        elif entry.payload.get("corrects") in by_number:
            _correct(found, by_number[entry.payload["corrects"]], entry)
    return found


def next_name(logbook: LogbookStore) -> str:
    """``L1``, ``L2``, …: one more than the highest number ever given."""
    given = [str(entry.payload.get("layup", "")) for entry in logbook.entries("layup")]
    numbers = [int(name[1:]) for name in given if name[:1] == "L" and name[1:].isdecimal()]
    return f"L{max(numbers, default=0) + 1}"


def _read(entry: Stored) -> Layup | None:
    try:
        layup = layup_from_plain(entry.payload)
    except (KeyError, TypeError, ValueError):
        return None
    return replace(layup, job=layup.job or entry.job)


def _emptied(found: dict[str, Layup], entry: Stored) -> None:
    layup = found.get(str(entry.payload.get("layup")))
    if layup is not None:
        found[layup.layup] = replace(layup, pot_emptied=entry.at)


def _correct(found: dict[str, Layup], name: str, entry: Stored) -> None:
    changes = entry.payload.get("changes")
    layup = found.get(name)
    if layup is None or not isinstance(changes, dict):
        return
    known = {key: value for key, value in changes.items() if key in Layup.__slots__ and key != "layup"}
    found[name] = replace(layup, **known)
