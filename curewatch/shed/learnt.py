"""What the logbook's observations make of a resin lot: the one door for whoever predicts.

An observation's entry holds the temperatures that the film went through, so that a lot is learnt the
same way for ever, also after the readings themselves were pruned. An undo is a correction that
withdraws an observation; then the remaining ones are folded again. One that contradicts what was
expected counts for its own layer alone (:mod:`curewatch.model.fit.learning`).
"""

from collections import OrderedDict
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec.structs import replace

from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Situation
from curewatch.jobs import Layer
from curewatch.later import Later
from curewatch.logbook import EntryKind, LogbookStore, StoredEntry
from curewatch.materials.resin import Resin
from curewatch.materials.substrate import Substrate
from curewatch.model.air import surface
from curewatch.model.film.ensemble_steps import Ensemble, Heat, followed
from curewatch.model.film.film import History
from curewatch.model.film.lots import Lot
from curewatch.model.film.probed import Laid, MeasuredLayer, own_paths
from curewatch.model.fit import score
from curewatch.model.fit.evidence import Evidence, from_plain
from curewatch.model.fit.score import Deviation
from curewatch.units import HOUR, FloatArray

if TYPE_CHECKING:
    from curewatch.model.fit import learning
    from curewatch.model.fit.learning import Lesson
else:  # of a lot of which nothing was observed nothing is learnt
    learning = Later("curewatch.model.fit.learning")

MOST_KEPT = 32  # folded lots remembered in this process
GRID = 900.0  # s between the points of a history
FINE = 225.0  # s, of a layer that warms itself
APART = 1.0  # s, at least, between two of them: entries keep tenths, and equal times would be no history
AIR_MOVED = 1.0  # K by which a cup may have followed its air: more, and it cures at another pace (assumed)
NEAR = HOUR  # a reading within this of the start counts for it [s]
_folded: "OrderedDict[tuple[Any, ...], tuple[Lesson, ...]]" = OrderedDict()


def resin_of_lot(logbook: LogbookStore, resin: Resin, lot: str | None, layer: str = "") -> Resin:
    """The resin as this lot has shown itself; the one given where nothing was observed.

    Parameters
    ----------
    lot : str or None
        None is the lot that nobody named.
    layer : str
        Whose times are asked; empty for the lot as a whole.
    """
    observed = [each for _, each in observations(logbook, resin.name, lot)]
    return learning.current_resin(resin, observed, layer) if observed else resin


def told_resin(logbook: LogbookStore, resin: Resin, lot: str | None, layer: str = "") -> Resin:
    """As :func:`resin_of_lot`, its spread as wide as what came of earlier ranges asks for."""
    found = resin_of_lot(logbook, resin, lot, layer)
    factor = score.widening(each.pull for each in pulls(logbook, resin.name))
    return found if factor == 1.0 else score.widened(found, factor)


def pulls(logbook: LogbookStore, resin: str) -> tuple[Deviation, ...]:
    """What was seen of every layer of a resin, all lots, against what was told of it; oldest first.

    Told twice of one layer, the later telling holds. An entry that does not remember its pull is left out.
    """
    found: dict[tuple[Any, ...], Deviation] = {}
    for entry, payload in standing(logbook):
        evidence = (
            _evidence(entry, payload) if payload.get("resin") == resin and payload.get("layer") else None
        )
        if evidence is None or evidence.memory is None or evidence.memory.pull is None:
            continue
        event = payload["layer"], evidence.observed
        found.pop(event, None)
        found[event] = Deviation(evidence.observed, evidence.memory.pull)
    return tuple(found.values())


def lesson_of(logbook: LogbookStore, resin: Resin, lot: str | None, evidence: Evidence) -> "Lesson":
    """What an observation that is about to be told would do; an earlier telling of it is left out.

    Raises
    ------
    OutOfValidity
        It says nothing of this resin.
    """
    others = (
        each
        for _, each in observations(logbook, resin.name, lot)
        if not evidence.layer or (each.layer, each.observed) != (evidence.layer, evidence.observed)
    )
    so_far = learning.folded(resin, others)
    return learning.learn(so_far.resin, evidence, so_far.doubted)


def lessons(logbook: LogbookStore, resin: Resin, lot: str | None) -> "tuple[Lesson, ...]":
    """What each observation of this lot did, oldest first."""
    observed = tuple(observations(logbook, resin.name, lot))
    if not observed:
        return ()
    told = ((entry, each.elapsed, each.observed) for entry, each in observed)
    key = (resin, tuple(sorted(resin.origins)), *told)
    if key not in _folded:
        _folded[key] = learning.lessons(resin, (each for _, each in observed))
        while len(_folded) > MOST_KEPT:
            _folded.popitem(last=False)
    return _folded[key]


def observations(logbook: LogbookStore, resin: str, lot: str | None) -> Iterator[tuple[int, Evidence]]:
    """The observations of a lot that stand: entry number and what was seen.

    Told twice of one layer, the later telling holds: it is one event, not two.
    """
    found: dict[tuple[Any, ...], tuple[int, Evidence]] = {}
    for entry, payload in standing(logbook):
        if payload.get("resin") == resin and payload.get("lot") == lot:
            evidence = _evidence(entry, payload)
            if evidence is not None:
                event = payload.get("layer") or entry.number, evidence.observed
                found.pop(event, None)  # told again, it is the last one told
                found[event] = entry.number, evidence
    yield from found.values()


def standing(logbook: LogbookStore) -> Iterator[tuple[StoredEntry, dict[str, Any]]]:
    """Every observation that nobody withdrew, with its corrections applied."""
    changes: dict[int, dict[str, Any]] = {}
    found = []
    for entry in logbook.entries((EntryKind.OBSERVATION, EntryKind.CORRECTION)):
        if entry.kind == EntryKind.OBSERVATION:
            found.append(entry)
        elif isinstance(entry.payload.get("changes"), dict):
            changes.setdefault(int(entry.payload["corrects"]), {}).update(entry.payload["changes"])
    for entry in found:
        changed = changes.get(entry.number, {})
        if not changed.get("withdrawn"):
            yield entry, _corrected(entry.payload, changed)


def _corrected(payload: Mapping[str, Any], changed: Mapping[str, Any]) -> dict[str, Any]:
    """A corrected hour moves the time from mixing with it."""
    if not changed:
        return dict(payload)
    found = {**payload, **changed, "memory": None}
    if "at" in changed and "elapsed" in payload and "at" in payload:
        later = float(changed["at"]) - float(payload["at"])
        found["elapsed"] = float(payload["elapsed"]) + later
        found["earlier"] = [(float(at) + later, rise) for at, rise in payload.get("earlier") or ()]
    return found


def _evidence(entry: StoredEntry, payload: Mapping[str, Any]) -> Evidence | None:
    """None for an observation of which nothing can be learnt: no temperatures were known."""
    try:
        return from_plain(payload, entry.number)
    except (KeyError, TypeError, ValueError):
        return None


def air_history(layer: Layer, at: float, situation: Situation) -> History | None:
    """The air around a pot from mixing up to a moment; None if nobody measured."""
    return along(layer.started, at, situation.past.time, situation.past.air_temperature)


def in_air_that_stays(cup: History, air: History, lag: float) -> History:
    """What a cup would have read in air as warm as itself, until its air has moved it by AIR_MOVED.

    A cup that the air warms has not risen by its own heat: neither in a shed that a heater warms, nor mixed
    from cold tins. ``lag``: how slowly it follows its air. [s]
    """
    first = float(cup.temperature[0])
    moved = surface.lagged_temperature(cup.time, np.interp(cup.time, *air), lag, first) - first
    beyond = np.flatnonzero(np.abs(moved) > AIR_MOVED)
    kept = slice(0, max(int(beyond[0]), 2) if beyond.size else None)
    return History(cup.time[kept], (cup.temperature - moved)[kept])


def history(layer: Layer, at: float, situation: Situation, substrate: Substrate) -> History | None:
    """What the surface of a layer went through up to a moment; None if nobody measured.

    The probe where it spoke; else the air's readings, lagged by the substrate.
    """
    past = situation.past
    temperature = surface.through(past.time, past.air_temperature, past.surface_temperature, substrate)
    return along(layer.started, at, past.time, temperature)


def own_history(
    layer: Layer, at: float, situation: Situation, asked: Question, seen: MeasuredLayer | None = None
) -> History | None:
    """What a layer itself went through: its surface, and its own heat by what its resin is taken to be.

    ``asked`` is of this layer, with what lies below; ``seen`` is what a probe in it measured, its own heat in
    that. As :func:`history`.
    """
    surface_path = history(layer, at, situation, asked.substrate)
    buildup = asked.buildup_at(layer.started)
    earlier = -min((ply.at for ply in buildup.before), default=0.0)
    path = history(replace(layer, started=layer.started - earlier), at, situation, asked.substrate)
    if surface_path is None or path is None:
        return surface_path
    lot = Lot(asked.resin, asked.resin.dose_factor(layer.peroxide_percent))
    end = float(surface_path.time[-1])
    time = np.linspace(0.0, end, 1 + max(1, round(end / FINE)))
    if seen is not None:
        since = layer.started - earlier + np.union1d(path.time, earlier + time)
        below = np.interp(since, layer.started - earlier + path.time, path.temperature)
        own = own_paths(Laid(layer.started, [lot], buildup, since, below, below), seen, at)[0]
        return History(time, np.interp(layer.started + time, since, own))
    alone = History(path.time, path.temperature[None])
    found = followed(
        Ensemble(asked.resin, alone, [lot], np.zeros(1, np.intp), Heat(buildup, fine=True)), earlier
    )
    return History(time, np.interp(time, *surface_path) + np.interp(time, found.time, found.excess[0]))


def along(start: float, end: float, time: FloatArray, temperature: FloatArray) -> History | None:
    """A history from readings, from start to end; None if none lies near its beginning or within. [s UTC]"""
    known = np.isfinite(temperature) & (time > start - NEAR) & (time < end + NEAR)
    if not known.any() or end < start + APART:
        return None
    inner = np.arange(start + GRID, end - APART, GRID, dtype=np.float64)
    grid: FloatArray = np.concatenate(([start], inner, [end]))
    return History(grid - start, np.interp(grid, time[known], temperature[known]))
