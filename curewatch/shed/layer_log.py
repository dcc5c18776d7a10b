"""The layers that are running, read from the logbook's entries, with what was corrected since."""

from collections.abc import Iterable
from dataclasses import replace

from curewatch.jobs import Layer, layer_from_plain
from curewatch.logbook import LogbookStore, StoredEntry
from curewatch.units import DAY

LONGEST = 14 * DAY  # after that nothing more is counted down, closed or not [s]
KINDS = ("layer", "layer-closed", "pot-empty", "correction")


def running(logbook: LogbookStore, now: float) -> tuple[Layer, ...]:
    """Every layer begun and not closed, oldest first, as corrected up to now."""
    return tuple(
        layer for layer in begun(logbook.entries(KINDS)).values() if 0 <= now - layer.started <= LONGEST
    )


def begun(entries: Iterable[StoredEntry]) -> dict[str, Layer]:
    """The open layers by name that these entries, in their order, lead to.

    Entries that another program wrote in a form of its own are not layers and are passed over here;
    the record shows them as they are.
    """
    found: dict[str, Layer] = {}
    by_number: dict[int, str] = {}
    for entry in entries:
        if entry.kind == "layer":
            layer = _read(entry)
            if layer is not None:
                found[layer.layer] = layer
                by_number[entry.number] = layer.layer
        elif entry.kind == "layer-closed":
            found.pop(str(entry.payload.get("layer")), None)
        elif entry.kind == "pot-empty":
            _emptied(found, entry)
        elif entry.payload.get("corrects") in by_number:
            _correct(found, by_number[entry.payload["corrects"]], entry)
    return found


def next_name(logbook: LogbookStore) -> str:
    """``L1``, ``L2``, …: one more than the highest number ever given."""
    given = [str(entry.payload.get("layer", "")) for entry in logbook.entries("layer")]
    numbers = [int(name[1:]) for name in given if name[:1] == "L" and name[1:].isdecimal()]
    return f"L{max(numbers, default=0) + 1}"


def _read(entry: StoredEntry) -> Layer | None:
    try:
        layer = layer_from_plain(entry.payload)
    except (KeyError, TypeError, ValueError):
        return None
    return replace(layer, job=layer.job or entry.job)


def _emptied(found: dict[str, Layer], entry: StoredEntry) -> None:
    layer = found.get(str(entry.payload.get("layer")))
    if layer is not None:
        found[layer.layer] = replace(layer, pot_emptied=entry.at)


def _correct(found: dict[str, Layer], name: str, entry: StoredEntry) -> None:
    changes = entry.payload.get("changes")
    layer = found.get(name)
    if layer is None or not isinstance(changes, dict):
        return
    known = {key: value for key, value in changes.items() if key in Layer.__slots__ and key != "layer"}
    found[name] = replace(layer, **known)
