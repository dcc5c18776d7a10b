"""The health of all sensors together, with what the configuration says of each."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from curewatch.configuration import Configuration
from curewatch.logbook import LogbookStore
from curewatch.shed import health
from curewatch.shed.health import Health, SensorHealth, Track
from curewatch.shed.recall import LastHeard, look_up


class JudgedSensor(NamedTuple):
    """A sensor as the logbook has it: what was heard of it, and its health by that and its neighbours."""

    heard: LastHeard
    health: SensorHealth


def judged(
    logbook: LogbookStore, configuration: Configuration, names: Iterable[str], now: float
) -> dict[str, JudgedSensor]:
    """These sensors at a moment. [s UTC]"""
    heard = {name: look_up(logbook, name, now) for name in names}
    healths = judge(configuration, {name: each.track for name, each in heard.items()}, now)
    return {name: JudgedSensor(each, healths[name]) for name, each in heard.items()}


def judge(configuration: Configuration, found: Mapping[str, Track], now: float) -> dict[str, SensorHealth]:
    """The health of each of these sensors, with what its neighbours tell."""
    roles = {name: configuration.role_of(name) or "" for name in found}
    beside = health.compare(found, roles, now)
    judged = {}
    for name, track in found.items():
        known = configuration.sensor(name)
        alone = health.judge(name, track, now, known.every_s if known else health.EVERY_ASSUMED)
        quiet = alone.health in {Health.SILENT, Health.NEVER}
        judged[name] = alone if quiet else beside.get(name, alone)
    return judged
