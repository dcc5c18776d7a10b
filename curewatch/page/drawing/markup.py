"""HTML by functions: what is not markup already is escaped, so no name from outside becomes an element."""

import re
from html import escape

from curewatch.safe_text import safe

_BLANKS = re.compile(r"\s+")


class Markup(str):
    """Text that is HTML already; only :func:`tag` and :func:`joined` make it."""

    __slots__ = ()


def tag(name: str, *inside: str, **attributes: str | float | bool | None) -> Markup:
    """An element; ``class_`` and ``data_due`` are written class and data-due; None and False are left out."""
    written = "".join(_attribute(key, value) for key, value in attributes.items())
    return Markup(f"<{name}{written}>{joined(*inside)}</{name}>")


def joined(*parts: str) -> Markup:
    """One after the other."""
    return Markup("".join(part if isinstance(part, Markup) else _written(part) for part in parts))


def _attribute(key: str, value: str | float | bool | None) -> str:
    if value is None or value is False:
        return ""
    name = key.rstrip("_").replace("_", "-")
    return f" {name}" if value is True else f' {name}="{_written(str(value))}"'


def _written(text: str) -> str:
    """On one line, and nothing in it that acts; blanks at its ends part it from what stands beside it."""
    return escape(safe(_BLANKS.sub(" ", text)))
