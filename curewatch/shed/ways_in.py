"""Where a silent sensor may not be at fault: no daemon, a full disk, a source that does not answer."""

import shutil
from collections.abc import Mapping

from curewatch.configuration import Configuration
from curewatch.logbook import LogbookStore, watched
from curewatch.logbook.postgres.address import is_address_file
from curewatch.units import HOUR

NO_DAEMON = "start the daemon: curewatch watch. Without one no reading comes in"
NO_ROOM = "make room: the disk of the logbook is full, and no reading is kept"
ROOM = 1e6  # bytes free below which SQLite soon finds no page for a commit


def advised(
    logbook: LogbookStore, configuration: Configuration, quiet: Mapping[str, float], now: float
) -> dict[str, str]:
    """What to do about sensors that say nothing since a UTC time [s], where it is not their own fault."""
    if not quiet or not (configuration.serial or configuration.mqtt):
        return {}
    if watched(logbook.path) is False:
        return dict.fromkeys(quiet, NO_DAEMON)
    if not is_address_file(logbook.path) and shutil.disk_usage(logbook.path.parent).free < ROOM:
        return dict.fromkeys(quiet, NO_ROOM)
    down = _unanswered(logbook, min(quiet.values()) - HOUR, now)
    found = {}
    for name in quiet:
        ways = _ways(configuration, name)
        if set(ways) <= set(down):
            found[name] = f"{_seen_to(configuration, ways[0])}: {ways[0]} does not answer ({down[ways[0]]})"
        elif set(ways) <= set(configuration.mqtt):
            found[name] = f"check its power, and what sends it to the broker {' or '.join(ways)}"
    return found


def _ways(configuration: Configuration, sensor: str) -> list[str]:
    """The sources that this sensor can come by: a port of its own; its topics; else any that is nobody's."""
    known = configuration.sensors.get(sensor)
    own = [name for name, port in configuration.serial.items() if port.sensor == sensor]
    if own or (known and known.topics):
        return own or list(configuration.mqtt)
    nobodys = [name for name, port in configuration.serial.items() if not port.sensor]
    return [*nobodys, *configuration.mqtt] or list(configuration.serial)


def _unanswered(logbook: LogbookStore, since: float, now: float) -> dict[str, str]:
    """The sources that the daemon could not reach last, by what it wrote down, and why. [UTC s]"""
    told = [one.payload for one in logbook.entries("source", start=since, end=now) if "up" in one.payload]
    last = {str(each["source"]): each for each in told}
    return {name: str(each.get("reason") or "no answer") for name, each in last.items() if not each["up"]}


def _seen_to(configuration: Configuration, source: str) -> str:
    return "see to the broker" if source in configuration.mqtt else "see to the port"
