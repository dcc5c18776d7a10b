"""The health of all sensors together, with what the configuration says of each."""

from collections.abc import Mapping

from curewatch.configuration import Configuration
from curewatch.shed import health
from curewatch.shed.health import Health, SensorHealth, Track


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
