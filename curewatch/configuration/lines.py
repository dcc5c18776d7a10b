"""On which line of a TOML file a key stands: the standard library's parser does not say."""

import re

_HEADER = re.compile(r"^\s*\[\[?\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(
    r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*="""
)
_STRING = re.compile(r'"(?:[^"\\]|\\.)*"|' + r"'[^']*'|#.*")


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def lines_of_keys(text: str) -> dict[tuple[str, ...], int]:
    """Line number (from 1) of every table and key; of a repeated one, the first.

    Arrays over several lines are followed by their brackets; strings over several lines by their
    quotes. It only ever serves a message, so a file it misreads costs a line number, no more.
    """
    found: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    open_brackets = 0
    open_quotes = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if open_quotes:
            open_quotes = "" if open_quotes in line else open_quotes
            continue
        if open_brackets == 0:
            header, key = _HEADER.match(line), _KEY.match(line)
            if header:
                table = _parts(header[1])
                found.setdefault(table, number)
                continue
            if key:
                found.setdefault(table + _parts(key[1]), number)
        for quotes in ('"""', "'''"):
            if line.count(quotes) == 1:
                open_quotes = quotes
        bare = _STRING.sub("", line)
        open_brackets = max(0, open_brackets + bare.count("[") - bare.count("]"))
    return found


def line_of(lines: dict[tuple[str, ...], int], place: tuple[str, ...]) -> int | None:
    """The line of a key, or of the nearest table that holds it."""
    while place:
        if place in lines:
            return lines[place]
        place = place[:-1]
    return None
