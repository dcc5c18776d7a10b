"""How a record speaks: local times, the reader's units, and text from outside that can only be read."""

import unicodedata
from collections.abc import Mapping
from typing import Any, NamedTuple

from curewatch.advice.judge.limits import Limit
from curewatch.jobs import look_alike
from curewatch.phrases import recalled
from curewatch.units import HOUR, MINUTE
from curewatch.wording import Wording

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
LONGEST = 1200  # characters of one text from outside on paper; the whole of it is in entries.jsonl
NOT_GIVEN = "–"
_UNSAFE = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def shown(text: object, longest: int = LONGEST) -> str:
    """Text from outside on one line, every character that could act on anything written out."""
    line = " ".join(str(text).split())
    safe = "".join(
        letter.encode("unicode_escape").decode("ascii") if unicodedata.category(letter) in _UNSAFE else letter
        for letter in line[: longest + 1]
    )
    return safe if len(safe) <= longest else safe[: longest - 1] + "…"


def named(name: str, longest: int) -> str:
    """A name; where it could be taken for another, each letter outside ASCII is written out."""
    if not look_alike(name):
        return shown(name, longest)
    return shown("".join(each if each.isascii() else f"(U+{ord(each):04X})" for each in name), longest)


def between(low: str, high: str) -> str:
    """``21:40 to 22:50``; once, where both are the same."""
    return low if low == high else f"{low} to {high}"


class RecordWords(NamedTuple):
    """The reader's units at the shed's zone, and whether its clocks changed during the job."""

    reader: Wording
    clocks_change: bool = False

    def moment(self, utc: float | None) -> str:
        """``26 Nov 22:10``; with the offset where clocks changed during the job."""
        if utc is None:
            return NOT_GIVEN
        local = self.reader.local(round(utc))
        offset = f" {local:%z}" if self.clocks_change else ""
        return f"{local.day} {MONTHS[local.month - 1]} {self.reader.time(round(utc))}{offset}"

    def day(self, utc: float) -> str:
        """``26 November 2026`` in short: ``26 Nov 2026``."""
        local = self.reader.local(round(utc))
        return f"{local.day} {MONTHS[local.month - 1]} {local.year}"

    def full(self, utc: float) -> str:
        """Day, time and offset: ``26 Nov 2026 22:10 +0000``."""
        return f"{self.day(utc)} {self.reader.time(round(utc))} {self.reader.local(round(utc)):%z}"

    def band(self, early: float | None, late: float | None) -> str:
        """``21:40 to 22:50``, with days; open where it is not reached within the record."""
        if early is None and late is None:
            return "not within the record"
        if early is None or late is None:
            missing = "fast" if early is None else "slow"
            return (
                f"from {self.moment(late if early is None else early)}; {missing} lots not within the record"
            )
        return between(self.moment(min(early, late)), self.moment(max(early, late)))

    def temperature(self, kelvin: object) -> str:
        """``12.3 °C``; ``–`` if it is no number."""
        return self.reader.temperature(kelvin) if isinstance(kelvin, int | float) else NOT_GIVEN

    def mass(self, kilogram: object) -> str:
        """``120 g`` as the scale showed it; ``–`` if it is no number."""
        return self.reader.weighed(kilogram) if isinstance(kilogram, int | float) else NOT_GIVEN

    def of_limit(self, limit: Limit, value: float | None) -> str:
        """A value in the unit of its limit."""
        if value is None:
            return NOT_GIVEN
        if limit.quantity == "fraction":
            return f"{value * 100:.1f} %"
        if limit.quantity == "duration":
            return span(value)
        return self.reader.quantity(limit.quantity, value)

    def told(self, payload: Mapping[str, Any], key: str, at: float) -> str:
        """A sentence of an entry, its numbers as the reader reads them; one from outside as it stands."""
        return shown(self.reader.say(recalled(payload, key), at)) if payload.get(key) else NOT_GIVEN

    @property
    def units(self) -> str:
        """``°C, g, 24-hour clock``: which units these pages are in."""
        warm, heavy = ("°F" if self.reader.fahrenheit else "°C"), ("oz" if self.reader.ounces else "g")
        return f"{warm}, {heavy}, {12 if self.reader.twelve_hours else 24}-hour clock"


def span(seconds: float) -> str:
    """``3 h 20 min``, ``45 min``, ``2 d 4 h``."""
    whole = round(seconds / MINUTE)
    if whole < 60:
        return f"{whole} min"
    if seconds < 48 * HOUR:
        return f"{whole // 60} h" + (f" {whole % 60} min" if whole % 60 else "")
    hours = whole // 60
    return f"{hours // 24} d" + (f" {hours % 24} h" if hours % 24 else "")
