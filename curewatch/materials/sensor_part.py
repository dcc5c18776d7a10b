"""How far a sensor's word may be off, by the class of its chip. Values in ``sensor_parts.toml``."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from msgspec import Struct

from curewatch.errors import ConfigurationError


class SensorPart(Struct, frozen=True):
    """One class of parts. The humidity fields are ``None`` for a plain thermometer."""

    name: str
    title: str
    temperature_sd: float  # [K]
    temperature_worst: float  # of a part within its specification [K]
    relative_humidity_sd: float | None  # [1]
    relative_humidity_worst: float | None  # [1]
    humidity_drift: float | None  # a year in clean air [1/a]
    origins: dict[str, str]  # quantity -> "tag: source"


def sensor_part_names() -> list[str]:
    """The classes of parts that are known."""
    return list(_table())


def load_sensor_part(name: str) -> SensorPart:
    """The class of parts of this name.

    Raises
    ------
    ConfigurationError
        No such class.
    """
    table = _table()
    if name not in table:
        raise ConfigurationError(repr(name), ", ".join(table), key="part")
    row = table[name]
    return SensorPart(
        name=name,
        title=row["title"],
        temperature_sd=row["temperature_typical_k"]["value"],
        temperature_worst=row["temperature_worst_k"]["value"],
        relative_humidity_sd=_fraction(row, "humidity_typical_percent"),
        relative_humidity_worst=_fraction(row, "humidity_worst_percent"),
        humidity_drift=_fraction(row, "drift"),
        origins={key: f"{value['tag']}: {value['source']}" for key, value in row.items() if key != "title"},
    )


def _fraction(row: dict[str, Any], key: str) -> float | None:
    return row[key]["value"] / 100 if key in row else None


@cache
def _table() -> dict[str, dict[str, Any]]:
    return tomllib.loads(Path(__file__).with_name("sensor_parts.toml").read_text(encoding="utf-8"))
