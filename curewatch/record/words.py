"""How a record speaks: local times, degrees Celsius, and text from outside that can only be read."""

import unicodedata
from datetime import UTC, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from curewatch.advice.limits import Limit
from curewatch.units import HOUR, MINUTE, ZERO_CELSIUS

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
LONGEST = 1200  # characters of one text from outside on paper; the whole of it is in entries.jsonl
_UNSAFE = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def shown(text: object, longest: int = LONGEST) -> str:
    """Text from outside on one line, every character that could act on anything written out."""
    line = " ".join(str(text).split())
    safe = "".join(
        letter.encode("unicode_escape").decode("ascii") if unicodedata.category(letter) in _UNSAFE else letter
        for letter in line[: longest + 1]
    )
    return safe if len(safe) <= longest else safe[: longest - 1] + "…"


class Words(NamedTuple):
    """The zone of the shed, and whether its clocks changed during the job."""

    zone: ZoneInfo
    clocks_change: bool = False

    def moment(self, utc: float | None) -> str:
        """``26 Nov 22:10``; with the offset where clocks changed during the job."""
        if utc is None:
            return "–"
        local = datetime.fromtimestamp(round(utc), UTC).astimezone(self.zone)
        offset = f" {local:%z}" if self.clocks_change else ""
        return f"{local.day} {MONTHS[local.month - 1]} {local:%H:%M}{offset}"

    def day(self, utc: float) -> str:
        """``26 November 2026`` in short: ``26 Nov 2026``."""
        local = datetime.fromtimestamp(round(utc), UTC).astimezone(self.zone)
        return f"{local.day} {MONTHS[local.month - 1]} {local.year}"

    def full(self, utc: float) -> str:
        """Day, time and offset: ``26 Nov 2026 22:10 +0000``."""
        local = datetime.fromtimestamp(round(utc), UTC).astimezone(self.zone)
        return f"{self.day(utc)} {local:%H:%M %z}"

    def band(self, early: float | None, late: float | None) -> str:
        """``21:40 to 22:50``, with days; open where it is not reached within the record."""
        if early is None and late is None:
            return "not within the record"
        if late is None:
            return f"from {self.moment(early)}; slow lots not within the record"
        return f"{self.moment(early)} to {self.moment(late)}"


def celsius(kelvin: float | None) -> str:
    """``12.3 °C``."""
    return "–" if kelvin is None else f"{_no_minus_zero(kelvin - ZERO_CELSIUS)} °C"


def of_limit(limit: Limit, value: float | None) -> str:
    """A value in the unit of its limit."""
    if value is None:
        return "–"
    if limit.quantity == "temperature":
        return celsius(value)
    if limit.quantity == "difference":
        return f"{_no_minus_zero(value)} K"
    if limit.quantity == "fraction":
        return f"{value * 100:.1f} %"
    if limit.quantity == "duration":
        return span(value)
    return f"{value:g}"


def span(seconds: float) -> str:
    """``3 h 20 min``, ``45 min``, ``2 d 4 h``."""
    whole = round(seconds / MINUTE)
    if whole < 60:
        return f"{whole} min"
    if seconds < 48 * HOUR:
        return f"{whole // 60} h" + (f" {whole % 60} min" if whole % 60 else "")
    hours = whole // 60
    return f"{hours // 24} d" + (f" {hours % 24} h" if hours % 24 else "")


def counted(number: int, noun: str) -> str:
    """``1 layup``, ``3 layups``."""
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def grams(kilogram: object) -> str:
    """``120 g``; ``–`` if it is no number."""
    return f"{kilogram * 1000:.4g} g" if isinstance(kilogram, int | float) else "–"


def _no_minus_zero(value: float) -> str:
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text
