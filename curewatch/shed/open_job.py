"""The one job that is open: what it says of the work goes before what is configured.

Where none is open, or several are, which is meant is not guessed: all is as configured.
"""

from collections.abc import Mapping
from typing import Any

import msgspec

from curewatch.configuration import Configuration
from curewatch.errors import CurewatchError
from curewatch.logbook import LogbookStore
from curewatch.materials import load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.shed.layer_log import standing

KINDS = ("job-open", "job-close", "job-reopen", "layer", "correction")
Told = Mapping[str, Any]


def configured(configuration: Configuration, logbook: LogbookStore) -> Configuration:
    """The configuration as the open job says it."""
    return as_opened(configuration, _one_open(logbook)[0])


def as_opened(configuration: Configuration, opened: Told) -> Configuration:
    """The configuration with the substrate and resin told as a job was opened in place of its own.

    A face, a thickness, a lot and a dose that were configured belong to the configured ones. A name that
    nobody knows any more changes nothing.
    """
    shed, shelf = configuration.shed, configuration.resin
    name, resin = _word(opened, "substrate"), _word(opened, "resin")
    thickness = opened.get("thickness")
    thickness = thickness if isinstance(thickness, float) else None
    try:
        if name:
            same = name == shed.substrate
            usual = shed.thickness_mm if same else None
            load_substrate(name, thickness)
            shed = msgspec.structs.replace(
                shed,
                substrate=name,
                thickness_mm=1000.0 * thickness if thickness else usual,
                face=shed.face if same else None,
            )
        if resin and resin != shelf.name:
            load_resin(resin, shelf.folder)
            others = tuple(each for each in (shelf.name, *shelf.also) if each != resin)
            shelf = msgspec.structs.replace(shelf, name=resin, also=others, lot=None, peroxide_percent=None)
    except CurewatchError:
        pass
    return msgspec.structs.replace(configuration, shed=shed, resin=shelf)


def uppermost_resin(logbook: LogbookStore) -> str | None:
    """What the open job's next layer lies on: its last layer's resin, if of one part; "" if not told."""
    _, layers = _one_open(logbook)
    if len({str(each.get("part") or "") for each in layers}) != 1:
        return None
    return _word(layers[-1], "resin") or ""


def _word(told: Told, key: str) -> str | None:
    """What was told, if it is text: another program may have written something else, or nothing."""
    word = told.get(key)
    return word if isinstance(word, str) else None


def _one_open(logbook: LogbookStore) -> tuple[Told, list[Told]]:
    """What was told as it was opened, and its layers."""
    opened, closed, layers = dict[str, Told](), dict[str, bool](), dict[str, list[Told]]()
    for entry, payload in standing(logbook.entries(KINDS)):
        job = str(entry.job or payload.get("job") or "")
        if entry.kind == "job-open":
            opened[job] = payload
        elif entry.kind == "layer":
            layers.setdefault(job, []).append(payload)
        else:
            closed[job] = entry.kind == "job-close"
    running = [job for job in opened if not closed.get(job)]
    return (opened[running[0]], layers.get(running[0], [])) if len(running) == 1 else ({}, [])
