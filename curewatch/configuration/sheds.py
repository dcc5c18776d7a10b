"""Several sheds in one file: a whole configuration for each, of its own tables and of what is common.

A key of a shed's table goes before the same key above. Sources are common: a port or a broker carries the
readings of any shed.
"""

from pathlib import Path
from typing import Any

from msgspec.structs import replace

from curewatch.configuration.places import logbook_path
from curewatch.configuration.shape import Configuration
from curewatch.configuration.tables import Misfit, read
from curewatch.errors import UsageError

_TABLES = ("resin", "limits", "working_hours", "stock", "logbook")


def told_apart(tables: dict[str, Any], common: Configuration) -> dict[str, Configuration]:
    """The configuration of each shed, by its name in the file; nothing where the file has one shed alone.

    ``tables`` is the file as read, ``common`` what it says when read as a whole.
    """
    found: dict[str, Configuration] = {}
    for label in common.sheds:
        try:
            shed = read(Configuration, _merged(label, tables, common))
        except Misfit as trouble:
            raise Misfit(("sheds", label), trouble.allowed) from trouble
        found[label] = replace(shed, _label=label)
    _logbooks_apart(found)
    return found


def _merged(label: str, tables: dict[str, Any], common: Configuration) -> dict[str, Any]:
    """The tables of a file that had this shed alone."""
    own = tables["sheds"][label]
    facts = {key: value for key, value in own.items() if key not in {*_TABLES, "sensors"}}
    merged = {key: value for key, value in tables.items() if key != "sheds"}
    for table in _TABLES:
        merged[table] = {**tables.get(table, {}), **own.get(table, {})}
    if "path" not in own.get("logbook", {}):
        merged["logbook"]["path"] = str(logbook_path(common).with_name(f"{label}.sqlite"))
    merged["shed"] = {**tables.get("shed", {}), "name": label, **facts}
    merged["sensors"] = {**tables.get("sensors", {}), **own.get("sensors", {})}
    merged["serial"] = {
        name: port
        for name, port in tables.get("serial", {}).items()
        if port.get("sensor") is None or port["sensor"] in merged["sensors"]
    }
    return merged


def _logbooks_apart(sheds: dict[str, Configuration]) -> None:
    places: dict[Path, str] = {}
    for label, shed in sheds.items():
        place = Path(str(logbook_path(shed)).lower())  # some disks do not tell capitals apart
        if place in places:
            raise Misfit(
                ("sheds", label, "logbook", "path"), f"a logbook of its own; {places[place]} has this one"
            )
        places[place] = label


def together(configuration: Configuration) -> Configuration:
    """All sensors of all sheds in one: what whoever listens to the common sources has to know."""
    if not configuration.sheds:
        return configuration
    sensors = dict(configuration.sensors)
    for shed in configuration.sheds.values():
        sensors |= shed.sensors
    return replace(configuration, sensors=sensors, sheds={}, _each={})


def one_shed(configuration: Configuration, label: str | None) -> Configuration:
    """The configuration of the shed that is meant.

    Raises
    ------
    UsageError
        There are several and none is named, or none has this name.
    """
    known = ", ".join(configuration.sheds)
    if not configuration.sheds:
        if label:
            raise UsageError(f"--shed: found {label!r}, but the configuration has one shed. Leave it out")
        return configuration
    if label is None and len(configuration.sheds) == 1:
        return next(iter(configuration.each.values()))
    if label is None:
        raise UsageError(f"--shed: found {len(configuration.sheds)} sheds and none named. Use one of {known}")
    if label not in configuration.sheds:
        raise UsageError(f"--shed: found {label!r}. Use one of {known}")
    return configuration.each[label]
