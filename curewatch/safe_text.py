"""What came from outside is shown as text: never as markup, never as an escape code.

Sensor names, notes, lot numbers, topics and file names pass through :func:`safe` before they reach a
terminal. Consoles made by :mod:`curewatch.cli.terminal` read no markup, so brackets need no care.
"""

import unicodedata

# Cc control, Cf format (bidirectional overrides), Cs lone surrogates, Co private use, Zl and Zp line breaks
_UNSAFE = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def safe(text: str, longest: int | None = None) -> str:
    """The text with every character that could act on a terminal written out, e.g. ``\\x1b``.

    Line breaks stay: whoever prints one line uses :func:`safe_line`.
    """
    shown = "".join(_written_out(character) if _unsafe(character) else character for character in text)
    return shown if longest is None or len(shown) <= longest else shown[: longest - 1] + "…"


def safe_line(text: str, longest: int | None = None) -> str:
    """As :func:`safe`, on one line: line breaks and tabs become spaces."""
    return safe(" ".join(text.split()), longest)


def _unsafe(character: str) -> bool:
    return character != "\n" and unicodedata.category(character) in _UNSAFE


def _written_out(character: str) -> str:
    return character.encode("unicode_escape").decode("ascii")
