"""One commented TOML file, validated; or sensible defaults.

``load(path)`` gives a frozen :class:`Configuration` or a :class:`ConfigurationError` that names file,
line, key, what was found and what is allowed. ``example()`` is the commented file that ``setup`` writes.
"""

from importlib.resources import files

from curewatch.configuration.loading import load, parse, search_path
from curewatch.configuration.places import logbook_path
from curewatch.configuration.secrets import password
from curewatch.configuration.shape import (
    ROLES_BY_NAME,
    Configuration,
    LimitsTable,
    MqttSource,
    ResinTable,
    Role,
    Sensor,
    SerialSource,
    ShedTable,
    WireUnits,
    WorkingHours,
)

__all__ = [
    "ROLES_BY_NAME",
    "Configuration",
    "LimitsTable",
    "MqttSource",
    "ResinTable",
    "Role",
    "Sensor",
    "SerialSource",
    "ShedTable",
    "WireUnits",
    "WorkingHours",
    "example",
    "load",
    "logbook_path",
    "parse",
    "password",
    "search_path",
]


def example() -> str:
    """The commented example, with every key the configuration knows."""
    return files(__package__).joinpath("example.toml").read_text(encoding="utf-8")
