"""Units of the Homie convention: they stand in topics of their own, apart from the values.

Version 4 has ``homie/DEVICE/NODE/PROPERTY/$unit``, version 5 one ``homie/5/DEVICE/$description`` in JSON.
Both are retained. Other words that begin with ``$``, such as ``$state``, are of the device and no reading.
"""

from typing import Any

from curewatch.wire.fields import UNIT_LONGEST, FieldRejected
from curewatch.wire.json_fields import load

ROOT = "homie/"
TOPICS = ("homie/+/+/+/$unit", "homie/5/+/$description")
MOST = 1_000  # properties whose unit is remembered


class HomieUnits:
    """The unit of each property, by the topic of its values."""

    def __init__(self) -> None:
        self._units: dict[str, str] = {}

    def of(self, topic: str) -> str:
        """The unit that is stated for the values of a topic; empty if none is."""
        return self._units.get(topic, "")

    def take(self, topic: str, payload: bytes) -> None:
        """What a topic with ``$`` tells; most tell nothing of units."""
        above, _, word = topic.rpartition("/")
        if word == "$unit":
            self._keep(above, payload.decode("utf-8", errors="replace").strip())
        elif word == "$description":
            for node, properties in _tables(_described(payload), "nodes", "properties"):
                for name, told in properties.items():
                    unit = told.get("unit") if type(told) is dict else None
                    self._keep(f"{above}/{node}/{name}", unit if type(unit) is str else "")

    def _keep(self, topic: str, unit: str) -> None:
        if not unit:
            self._units.pop(topic, None)
        elif topic in self._units or len(self._units) < MOST:
            self._units[topic] = unit[:UNIT_LONGEST]


def _described(payload: bytes) -> Any:
    try:
        return load(payload)
    except FieldRejected:
        return None


def _tables(found: Any, outer: str, inner: str) -> list[tuple[str, dict[str, Any]]]:
    """The inner table of each table under ``outer``."""
    tables = found.get(outer) if type(found) is dict else None
    if type(tables) is not dict:
        return []
    pairs = [(name, each.get(inner)) for name, each in tables.items() if type(each) is dict]
    return [(name, each) for name, each in pairs if type(each) is dict]
