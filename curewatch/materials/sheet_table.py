"""One table of a maker's sheet in its text: takes values from it, and knows the line of each key."""

import math
import re
from typing import Any

from msgspec import Struct

from curewatch.errors import ConfigurationError
from curewatch.materials.sourced_toml import Sheet
from curewatch.units import ZERO_CELSIUS


class SheetTable(Struct, frozen=True):
    """The nth table of a section in the text."""

    file: Sheet
    section: str
    index: int

    def line(self, key: str) -> int | None:
        """Line of a key within this table; of its heading for ``""`` or a key that is not there."""
        count, heading, inside = -1, None, self.section == ""
        for number, text in enumerate(self.file.text.splitlines(), 1):
            head = re.match(r"\s*\[\[?\s*([^\]]+?)\s*\]", text)
            if head:
                count += head[1] == self.section
                inside = head[1] == self.section and count == self.index
                heading = number if inside else heading
            elif inside and key and re.match(rf"\s*{re.escape(key)}\s*=", text):
                return number
            elif self.section and count < 0 and re.match(rf"\s*{re.escape(self.section)}\s*=", text):
                heading = number
        return heading

    def refuse(self, key: str, found: str, allowed: str) -> ConfigurationError:
        """The error to raise about a key: its file, line and dotted name."""
        dotted = ".".join(part for part in (self.section, key) if part)
        return ConfigurationError(found, allowed, file=self.file.path, line=self.line(key), key=dotted)

    def require_known(self, table: dict[str, Any], known: tuple[str, ...]) -> None:
        """Raises ``ConfigurationError`` for a key that nobody reads."""
        for key in table:
            if key not in known:
                raise self.refuse(key, f"key {key!r}", ", ".join(known))

    def number(self, table: dict[str, Any], key: str, low: float, high: float) -> float:
        """A number that must be there.

        In the unit of its key, as typed [°C, min, g]. Raises ``ConfigurationError``.
        """
        value = self.perhaps(table, key, low, high)
        if value is None:
            raise self.refuse(key, "nothing", f"a number, {low:g} to {high:g}")
        return value

    def perhaps(self, table: dict[str, Any], key: str, low: float, high: float) -> float | None:
        """A number, if it is there.

        In the unit of its key, as typed [°C, min, g]. Raises ``ConfigurationError``.
        """
        value = table.get(key)
        if value is None:
            return None
        if not is_number(value) or not low <= value <= high:
            raise self.refuse(key, repr(value), f"a number, {low:g} to {high:g}")
        return float(value)

    def temperature(self, table: dict[str, Any]) -> float:
        """The temperature that a statement holds at. [K]"""
        return self.number(table, "temperature_c", -20.0, 150.0) + ZERO_CELSIUS

    def words(self, table: dict[str, Any], key: str, allowed: tuple[str, ...], usual: str) -> str:
        """One of the words that are allowed, the usual one if none is said. Raises ``ConfigurationError``."""
        said = table.get(key, usual)
        if said not in allowed:
            raise self.refuse(key, repr(said), " or ".join(map(repr, allowed)))
        return str(said)

    def switch(self, table: dict[str, Any], key: str) -> bool:
        """A yes or no, no if it is not said. Raises ``ConfigurationError``."""
        said = table.get(key, False)
        if not isinstance(said, bool):
            raise self.refuse(key, repr(said), "true or false")
        return said


def is_number(value: Any) -> bool:
    """A finite number, and not a truth value."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
