"""Which characters the fonts of the PDF can draw; any other one is written out by its code point.

The layout has the fonts that its compiler carries and no others, so that the same pages give the same
bytes on every computer. A character that none of them has would stop the layout: a thumb, or Chinese. It
becomes ``(U+1F44D)`` on paper. The HTML page, pages.json and entries.jsonl keep the character itself.

``files/drawn.txt`` lists what those fonts have, as ranges of code points. ``tests/unit/test_glyphs.py``
lays out every one of them.
"""

from bisect import bisect_right
from functools import lru_cache

from curewatch.record.proof import shipped


@lru_cache(maxsize=1)
def _ranges() -> tuple[tuple[int, ...], tuple[int, ...]]:
    rows = [word.split("-") for word in shipped("drawn.txt").decode().split()]
    return tuple(int(row[0], 16) for row in rows), tuple(int(row[-1], 16) for row in rows)


def is_drawn(character: str) -> bool:
    """Whether a font of the PDF has it."""
    first, last = _ranges()
    place = bisect_right(first, ord(character)) - 1
    return place >= 0 and ord(character) <= last[place]


def drawable(text: str) -> str:
    """The text, each character that no font has written out as ``(U+1F44D)``."""
    undrawn = {each for each in set(text) if not each.isascii() and not is_drawn(each)}
    return text.translate({ord(each): _code_point(each) for each in undrawn}) if undrawn else text


def ascii_only(text: str) -> str:
    """The text, each character outside ASCII written out."""
    return "".join(each if each.isascii() else _code_point(each) for each in text)


def _code_point(each: str) -> str:
    return f"(U+{ord(each):04X})"
