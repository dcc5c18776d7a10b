"""A job is opened, on a terminal or on the page: questions, what holds unsaid, the entry.

Every form at the bench has its questions, so nothing that brings a resin is imported before it is needed.
"""

from collections.abc import Mapping
from typing import Any

from curewatch import materials
from curewatch.configuration import Configuration
from curewatch.errors import UsageError
from curewatch.logbook import Entry, LogbookStore, StoredEntry
from curewatch.materials.substrate import substrate_names
from curewatch.worklog.fields import BY, Field, joined, length_between, listed, millimetres, one_of, words


def resin_typed(text: str, option: str) -> str:
    """The name of a resin system or a .toml file: looked up by who uses it, in the user's folder too."""
    said = text.strip()
    if said:
        return said
    raise UsageError(
        f"{option}: found {text!r}. Use {', '.join(materials.resin_names())}, or one of your own"
    )


def _substrate(text: str, option: str) -> str:
    return one_of(*substrate_names())(text, option)


def _rule_sets(text: str, option: str) -> list[str]:
    """Names of rule sets; UsageError for any other, which a record would pass over."""
    from curewatch.advice.judge.limits import RULES

    known = (*RULES, "own")
    asked = [one.lower().replace(" ", "-") for one in listed(text, option)]
    for one in asked:
        if one not in known:
            raise UsageError(f"{option}: found {one!r}. Use {', '.join(known)}, parted by commas")
    return asked


OPENING: tuple[Field, ...] = (
    Field("title", "What is done, e.g. new rudder cheek", words, needed=True),
    Field("boat", "Boat", words),
    Field("what", "Part and material", words),
    Field("resin", "Resin system", resin_typed, name="resin"),
    Field("substrate", "Substrate", _substrate),
    Field(
        "thickness",
        "Thickness of the substrate in mm",
        length_between(5e-4, 0.5),
        say=millimetres,
    ),
    Field("rules", "Rule sets, parted by commas", _rule_sets, say=joined),
    Field("hin", "Hull identification number", words, asked=False),
    Field("place", "Where on the hull: drawing, station", words, asked=False),
    BY,
)


def usual(configuration: Configuration) -> dict[str, Any]:
    """What holds where nothing is said: the configured shed and shelf."""
    shed, resin = configuration.shed, configuration.resin
    found = {
        "boat": shed.boat or None,
        "substrate": shed.substrate,
        "thickness": None if shed.thickness_mm is None else shed.thickness_mm / 1000,
        "resin": resin.name,
        "rules": [configuration.limits.rules],
    }
    return {key: value for key, value in found.items() if value is not None}


def open_job(
    logbook: LogbookStore,
    configuration: Configuration,
    said: Mapping[str, Any],
    *,
    happened: float,
    now: float,
    name: str | None = None,
) -> StoredEntry:
    """Open a job with what was said of it; it gets the next free name where it has none. UTC [s]

    Raises
    ------
    UsageError
        Nobody knows the resin, or a job of this name is there already.
    """
    from curewatch.worklog import telling

    kept = usual(configuration) | dict(said)
    if kept["substrate"] != configuration.shed.substrate and "thickness" not in said:
        kept.pop("thickness", None)  # it was that of the configured one
    materials.load_resin(kept["resin"], folder=configuration.resin.folder)  # refuses a name that nobody knows
    marked = {"given_afterwards": True} if happened != now else {}
    while True:
        entry = telling.opening(logbook, kept | {"zone": configuration.shed.zone} | marked, happened, name)
        new = Entry(entry.kind, entry.payload, happened, job=entry.job, key=entry.key, recorded=now)
        stored = logbook.write(new)
        # Else somebody took that name meanwhile, and his entry came back. The service adds who told it.
        if stored.payload == {**stored.payload, **new.payload}:
            return stored
