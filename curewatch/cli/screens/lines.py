"""Lines that fit: a paragraph between words, and a first screen of so many lines at most."""

import re
from collections.abc import Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from curewatch.answers.tonight import CheckDocument

WIDTH, MOST = 80, 10  # columns; lines of a first screen
MORE = "  Reasons: --why"
_HELD = "\N{NO-BREAK SPACE}"  # holds words together while a paragraph is broken
_UNIT = r"°[CF]|%|k?g|oz|m?l|min|h|d|s|mm|m²|k?W|kWh|W/m²|g/m²|am|pm|left|ago"
_TOGETHER = re.compile(
    rf"(?<=\d) (?=(?:in 10|(?:{_UNIT}))(?![\w/]))|(?<=\d{_HELD}in) (?=10)|(?<=\d in) (?=10)"
)


class LineGroup(NamedTuple):
    """Lines that belong together; the greater ``spare``, the sooner they are left out."""

    lines: list[str]
    spare: int  # 0: never left out


def fitting(groups: Sequence[LineGroup], most: int = MOST) -> list[str]:
    """The lines of all groups, without the last of the least needed ones until they are ``most`` at most.

    A shorter one that would still fit stays.
    """
    kept, left = list(groups), 0
    by_need = sorted(groups, key=lambda group: group.spare)  # of alike ones the first is needed most
    for group in by_need:
        left += len(group.lines)
        if left > most and group.spare:
            left -= len(group.lines)
            kept = [each for each in kept if each is not group]
    return [line for group in kept for line in group.lines]


def paragraph(
    text: str, width: int = WIDTH, *, initial_indent: str = "", subsequent_indent: str = ""
) -> list[str]:
    """A text broken between words. No number is parted from its unit, no word at a hyphen.

    A command on two lines cannot be copied.
    """
    rows = wrap(
        _TOGETHER.sub(_HELD, text),
        width,
        initial_indent=initial_indent,
        subsequent_indent=subsequent_indent,
        break_on_hyphens=False,
    )
    return [row.replace(_HELD, " ") for row in rows]


def wrapped(text: str, indent: str = "  ", further: str | None = None, width: int = WIDTH) -> list[str]:
    """A paragraph, indented; ``further``: from its second line on."""
    deeper = f"{indent}  " if further is None else further
    return paragraph(text, width, initial_indent=indent, subsequent_indent=deeper)


def kept_words(text: str, width: int) -> str:
    """The beginning of a text that fits, up to the end of a word; a number goes with its unit."""
    kept = _TOGETHER.sub(_HELD, text)
    if len(kept) <= width or " " not in kept[: width + 1].strip():
        return text[:width]
    return text[: kept.rfind(" ", 0, width + 1)].rstrip()


def worst(check: "CheckDocument") -> float | None:
    """What was found, the sensors' error taken off: one number against one limit."""
    if check.value is None or not check.error:
        return check.value
    return check.value - check.error if check.sense == "at-least" else check.value + check.error
