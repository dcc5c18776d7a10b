"""The layers that are running, read from the logbook's entries, with what was corrected since."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from msgspec.structs import replace

from curewatch.jobs import Layer, layer_from_plain
from curewatch.logbook import LogbookStore, StoredEntry
from curewatch.units import DAY

LONGEST = 14 * DAY  # after that nothing more is counted down, closed or not [s]
WARM = DAY  # after that a layer below has no heat left to give [s]
KINDS = ("layer", "layer-closed", "pot-empty", "peel-ply", "wash", "correction")


def running(logbook: LogbookStore, now: float) -> tuple[Layer, ...]:
    """Every layer begun and not closed, oldest first, as corrected up to now."""
    return tuple(
        layer for layer in begun(logbook.entries(KINDS)).values() if 0 <= now - layer.started <= LONGEST
    )


def beneath(logbook: LogbookStore, layer: Layer) -> tuple[Layer, ...]:
    """The layers that this one was laid on within a day, the oldest first, closed since or not.

    Of the same job and part, of any resin; where neither is named, none is guessed.
    """
    if not (layer.job or layer.part):
        return ()
    place = (layer.job, layer.part)
    told = begun(entry for entry in logbook.entries(KINDS) if entry.kind != "layer-closed").values()
    same = (each for each in told if (each.job, each.part) == place)
    return tuple(
        sorted(
            (each for each in same if 0.0 < layer.started - each.started <= WARM),
            key=lambda each: each.started,
        )
    )


def uppermost(logbook: LogbookStore, now: float) -> tuple[Layer, ...]:
    """The one layer that runs and lies open, warm still, and what it was laid on; the oldest first.

    Empty where there is none, or where there are more: which of them is meant is not guessed.
    """
    opened = [each for each in running(logbook, now) if each.covered is None]
    if len(opened) != 1 or not 0.0 < now - opened[0].started <= WARM:
        return ()
    return (*beneath(logbook, opened[0]), opened[0])


def begun(entries: Iterable[StoredEntry]) -> dict[str, Layer]:
    """The open layers by name that these entries, in their order, lead to, as corrected since.

    Entries that another program wrote in a form of its own are not layers and are passed over here;
    the record shows them as they are.
    """
    found: dict[str, Layer] = {}
    for entry, payload in standing(entries):
        if entry.kind == "layer":
            layer = _read(entry, payload)
            if layer is not None:
                _cover(found, layer)
                found[layer.layer] = layer
        elif entry.kind == "layer-closed":
            found.pop(str(payload.get("layer")), None)
        elif entry.kind in _ANSWERS:
            _answered(found, entry, payload)
    return found


def standing(entries: Iterable[StoredEntry]) -> Iterator[tuple[StoredEntry, Mapping[str, Any]]]:
    """What was told and not withdrawn, with the corrections that came after it applied."""
    told, changes = list[StoredEntry](), dict[int, dict[str, Any]]()
    for entry in entries:
        changed = entry.payload.get("changes")
        if entry.kind != "correction":
            told.append(entry)
        elif isinstance(changed, dict) and isinstance(entry.payload.get("corrects"), int):
            changes.setdefault(entry.payload["corrects"], {}).update(changed)
    for entry in told:
        changed = changes.get(entry.number, {})
        if not changed.get("withdrawn"):
            yield entry, {**entry.payload, **{key: new for key, new in changed.items() if key != "layer"}}


def next_name(logbook: LogbookStore) -> str:
    """``L1``, ``L2``, …: one more than the highest number ever given."""
    given = [str(entry.payload.get("layer", "")) for entry in logbook.entries("layer")]
    numbers = [int(name[1:]) for name in given if name[:1] == "L" and name[1:].isdecimal()]
    return f"L{max(numbers, default=0) + 1}"


def _read(entry: StoredEntry, payload: Mapping[str, Any]) -> Layer | None:
    try:
        layer = layer_from_plain(payload)
    except (KeyError, TypeError, ValueError):
        return None
    return replace(layer, job=layer.job or entry.job)


def _cover(found: dict[str, Layer], above: Layer) -> None:
    """A layer of the same job and part lies on those before it; where none is named, none is guessed."""
    if not (above.job or above.part):
        return
    for name, below in found.items():
        if (below.job, below.part) == (above.job, above.part) and below.started < above.started:
            found[name] = replace(below, covered=below.covered or above.started)


def _peel_ply(action: str, at: float) -> dict[str, Any]:
    return {"peel_ply_on": at if action == "on" else None}


def _wash(action: str, at: float) -> dict[str, Any]:
    return {key: at for key, word in (("washed", "wash"), ("abraded", "abrade")) if word in action}


_ANSWERS: dict[str, Callable[[str, float], dict[str, Any]]] = {
    "pot-empty": lambda action, at: {"pot_emptied": at},
    "peel-ply": _peel_ply,
    "wash": _wash,
}


def _answered(found: dict[str, Layer], entry: StoredEntry, payload: Mapping[str, Any]) -> None:
    """What was told of a layer ends what it answers."""
    layer, at = found.get(str(payload.get("layer"))), payload.get("at")
    if layer is not None:
        when = float(at) if isinstance(at, int | float) else entry.at
        found[layer.layer] = replace(layer, **_ANSWERS[entry.kind](str(payload.get("action")), when))
