"""TOML whose numbers carry unit, tag and source; every complaint names file, line and key."""

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from curewatch import plain_toml
from curewatch.errors import ConfigurationError, reason
from curewatch.materials.quantities import TAGS, ResinQuantity
from curewatch.materials.resin import Origin

ENTRY_KEYS = ("value", "unit", "tag", "source", "spread")


@dataclass(slots=True)
class Sheet:
    """One parsed file that knows its lines. ``origins`` fills as numbers are taken from it."""

    path: Path
    text: str
    data: dict[str, Any]
    origins: dict[str, Origin] = field(default_factory=dict)

    def refuse(self, key: str, found: str, allowed: str) -> ConfigurationError:
        """The error to raise about a key."""
        return ConfigurationError(found, allowed, file=self.path, line=self.line(key), key=key)

    def line(self, key: str) -> int | None:
        """Line on which a dotted key stands, else that of its section, else None."""
        section, _, leaf = key.rpartition(".")
        here, section_line = "", None
        for number, line in enumerate(self.text.splitlines(), 1):
            heading = re.match(r"\s*\[([^\]]+)\]", line)
            if heading:
                here = heading[1].strip()
                if here in (section, key):
                    section_line = number
            elif here == section and re.match(rf"\s*[\"']?{re.escape(leaf)}[\"']?\s*=", line):
                return number
        return section_line

    def number(self, key: str, quantity: ResinQuantity) -> float:
        """The SI value of a sourced number. [SI] Raises what :meth:`refuse` makes."""
        entry = self.find(key)
        if not isinstance(entry, dict):
            raise self.refuse(key, repr(entry), '{ value = …, unit = "…", tag = "…", source = "…" }')
        self.require_known(key, entry, ENTRY_KEYS)
        value = self._finite(f"{key}", entry.get("value"))
        unit = entry.get("unit")
        if unit not in quantity.units:
            raise self.refuse(key, f"unit {unit!r}", " or ".join(repr(name) for name in quantity.units))
        scale = quantity.units[unit]
        result = scale.factor * value + scale.offset
        if not quantity.low <= result <= quantity.high:
            low, high = ((edge - scale.offset) / scale.factor for edge in (quantity.low, quantity.high))
            raise self.refuse(key, f"{value:g} {unit}", f"{low:g} to {high:g} {unit}")
        self.origins[key] = self._origin(key, entry)
        return result

    def find(self, key: str) -> Any:
        """The raw entry of a dotted key, or None."""
        node: Any = self.data
        for part in key.split("."):
            node = node.get(part) if isinstance(node, dict) else None
        return node

    def require_known(self, key: str, table: Mapping[str, Any], known: Iterable[str]) -> None:
        """Refuse a key that nobody reads: most likely a slip of the pen."""
        allowed = tuple(known)
        for name in table:
            if name not in allowed:
                raise self.refuse(f"{key}.{name}" if key else name, f"key {name!r}", ", ".join(allowed))

    def words(self, key: str, allowed: Iterable[str] = ()) -> str:
        """A text, one of ``allowed`` if any are named. Raises what :meth:`refuse` makes."""
        entry = self.find(key)
        choice = tuple(allowed)
        if not isinstance(entry, str) or not entry.strip() or (choice and entry not in choice):
            raise self.refuse(key, repr(entry), " or ".join(map(repr, choice)) if choice else "a text")
        return entry

    def switch(self, key: str) -> bool:
        """A yes or no that must be said. Raises what :meth:`refuse` makes."""
        entry = self.find(key)
        if not isinstance(entry, bool):
            raise self.refuse(key, repr(entry), "true or false")
        return entry

    def _finite(self, key: str, value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < float("inf"):
            raise self.refuse(key, f"value {value!r}", "a number")
        return float(value)

    def _origin(self, key: str, entry: Mapping[str, Any]) -> Origin:
        tag, source = entry.get("tag"), entry.get("source")
        if tag not in TAGS:
            raise self.refuse(key, f"tag {tag!r}", " or ".join(map(repr, TAGS)))
        if not isinstance(source, str) or not source.strip():
            raise self.refuse(key, f"source {source!r}", "a text that names where the number comes from")
        spread = entry.get("spread")
        if spread is None:
            return Origin(tag, source)
        return Origin(tag, source, self._finite(f"{key}", spread), str(entry.get("unit")))


@lru_cache(maxsize=16)
def _parsed(text: str) -> dict[str, Any]:
    """Nobody writes in it. A process that looks each minute reads the same file each time."""
    return plain_toml.loads(text)


def read_sheet(path: Path) -> Sheet:
    """Parse one file.

    Raises
    ------
    ConfigurationError
        The file is missing, is not UTF-8 text, or is not TOML.
    """
    try:
        with path.open("rb") as file:
            text = file.read(4 * plain_toml.LARGEST + 1).decode("utf-8")
        return Sheet(path, text, _parsed(text))
    except FileNotFoundError:
        raise ConfigurationError("no such file", "a TOML file that exists", file=path) from None
    except UnicodeDecodeError:
        raise ConfigurationError("bytes that are not text", "a TOML file in UTF-8", file=path) from None
    except OSError as trouble:
        raise ConfigurationError(reason(trouble), "a readable TOML file", file=path) from None
    except tomllib.TOMLDecodeError as trouble:
        where = re.search(r"at line (\d+)", str(trouble))
        raise ConfigurationError(
            str(trouble), "TOML", file=path, line=int(where[1]) if where else None
        ) from None
