"""One commented TOML file, validated; or sensible defaults.

``load(path)`` gives a frozen :class:`Configuration` or a :class:`ConfigurationError` that names file,
line, key, what was found and what is allowed. ``example()`` is the commented file that ``setup`` writes.
"""

from pathlib import Path

from curewatch.configuration.loading import load, parse, search_path
from curewatch.configuration.places import logbook_path, of_no_shed
from curewatch.configuration.secrets import password
from curewatch.configuration.shape import (
    ROLES_BY_NAME,
    Configuration,
    ForecastTable,
    LimitsTable,
    MqttSource,
    ResinTable,
    Role,
    Sensor,
    SerialSource,
    ShedTable,
    Tin,
    WireUnits,
    WorkingHours,
)
from curewatch.configuration.sheds import one_shed, together

__all__ = [
    "ROLES_BY_NAME",
    "Configuration",
    "ForecastTable",
    "LimitsTable",
    "MqttSource",
    "ResinTable",
    "Role",
    "Sensor",
    "SerialSource",
    "ShedTable",
    "Tin",
    "WireUnits",
    "WorkingHours",
    "example",
    "load",
    "logbook_path",
    "of_no_shed",
    "one_shed",
    "parse",
    "password",
    "search_path",
    "together",
]


def example() -> str:
    """The commented example, with every key the configuration knows."""
    return Path(__file__).with_name("example.toml").read_text(encoding="utf-8")
