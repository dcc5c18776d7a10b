"""Numbers and names from outside, read strictly.

Python's own ``float()`` takes full-width digits, ``1_000``, ``nan`` and ``1e400``; its ``int()``
raises on 4,300 digits. Here a number is what a small board prints, in ASCII, finite, or ``None``.
"""

import math
import re
from functools import lru_cache

# up to 25 decimals: a program that prints a sum writes 0.7000000000000001
_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,15}(?:\.[0-9]{0,25})?|\.[0-9]{1,25})(?:[eE][+-]?[0-9]{1,2})?")
_NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.:/-]{0,63}")

NAME_LONGEST = 64
LARGEST = 1e18  # no quantity and no stamp of ours comes near; keeps sums finite


def number(text: str) -> float | None:
    """The number a text spells, or None when it spells none. Blanks around it are allowed."""
    text = text.strip(" \t")
    if len(text) > 40 or not _NUMBER.fullmatch(text):
        return None
    value = float(text)
    return value if -LARGEST < value < LARGEST else None


def finite(value: object) -> float | None:
    """A JSON or CBOR value as a number: a number, or a text that spells one; a truth value is none."""
    if type(value) is float:
        return value if math.isfinite(value) and -LARGEST < value < LARGEST else None
    if type(value) is int:
        return float(value) if -LARGEST < value < LARGEST else None
    if type(value) is str:
        return number(value)
    return None


def name_allowed(text: str) -> bool:
    """Is this a sensor name: 1 to 64 of letters, digits and ``_ . : / -``, in ASCII?

    What is allowed can neither be a terminal escape nor markup, and needs no quoting in a file.
    """
    return len(text) <= NAME_LONGEST and _known_name(text)


@lru_cache(maxsize=2048)
def _known_name(text: str) -> bool:
    return _NAME.fullmatch(text) is not None


@lru_cache(maxsize=2048)
def tidy(text: str) -> str:
    """A device's name as one that is allowed: blanks and foreign letters become ``_``.

    A text that is too long or holds what cannot be printed stays as it is, and so is refused.
    """
    text = text.strip()
    if len(text) > NAME_LONGEST or not text.isprintable():
        return text
    return _FOREIGN.sub("_", text)


_FOREIGN = re.compile(r"[^A-Za-z0-9_.:/-]|^[^A-Za-z0-9_]")
