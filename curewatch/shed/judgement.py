"""The health of all sensors together, with what the configuration says of each."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from curewatch.configuration import Configuration
from curewatch.logbook import LogbookStore
from curewatch.shed import health
from curewatch.shed.health import Health, SensorHealth, Track
from curewatch.shed.neighbours import compare
from curewatch.shed.recall import LastHeard, look_up, look_up_few


class JudgedSensor(NamedTuple):
    """A sensor as the logbook has it: what was heard of it, and its health by that and its neighbours."""

    heard: LastHeard
    health: SensorHealth


def judged(
    logbook: LogbookStore,
    configuration: Configuration,
    names: Iterable[str],
    now: float,
    *,
    without_model: bool = False,
) -> dict[str, JudgedSensor]:
    """These sensors at a moment, the same for who needs the model and who does not. [s UTC]"""
    heard = (look_up_few if without_model else look_up)(logbook, names, now)
    healths = judge(configuration, {name: each.track for name, each in heard.items()}, now)
    return {name: JudgedSensor(each, healths[name]) for name, each in heard.items()}


def judge(configuration: Configuration, found: Mapping[str, Track], now: float) -> dict[str, SensorHealth]:
    """The health of each of these sensors, with what its neighbours tell."""
    roles = {name: configuration.role_of(name) or "" for name in found}
    of_shed = {name: track for name, track in found.items() if configuration.of_shed(name)}
    beside = compare(of_shed, roles, now)
    judged = {}
    for name, track in found.items():
        known = configuration.sensor(name)
        alone = health.judge(name, track, now, known.every_s if known else health.EVERY_ASSUMED)
        quiet = alone.health in {Health.SILENT, Health.NEVER}
        judged[name] = alone if quiet else beside.get(name, alone)
    return judged
