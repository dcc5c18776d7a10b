"""Lines made for 80 columns on a narrower terminal: folded between words, never within one.

A table's row is folded between its columns, which keep their order; a paragraph that was wrapped for 80
columns is put together first. A terminal that is wider shows the lines as they are: eighty columns is what
an eye follows.
"""

import re
from collections.abc import Iterable, Iterator

MADE_FOR = 80  # columns
NARROWEST = 16  # columns: below this a terminal may do what it likes
GAP = re.compile(r" {2,}")
LABEL = re.compile(r"^ *\S{1,5} {2}")  # the letter or number that a paragraph begins with


def folded(lines: Iterable[str], width: int) -> list[str]:
    """The lines, none wider than ``width`` unless a single word is."""
    if width >= MADE_FOR:
        return list(lines)
    room = max(width, NARROWEST)
    return [row for line in joined(lines) for row in _fold(line, room)]


def joined(lines: Iterable[str]) -> Iterator[str]:
    """Paragraphs as one line each: a line goes on in the next where only the width had parted them."""
    held: str | None = None
    last = ""  # the piece of the held line that stood last
    for line in lines:
        if held is not None and _goes_on(last, line):
            held, last = f"{held} {line.strip()}", line
            continue
        if held is not None:
            yield held
        held = last = line
    if held is not None:
        yield held


def _goes_on(line: str, following: str) -> bool:
    word = following.split(maxsplit=1)[:1]
    deeper = _indent(following) - _indent(line) >= line.endswith((".", ")"))  # such a line may be the last
    full = bool(word) and len(line) + 1 + len(word[0]) > MADE_FOR - 2
    return (
        full and deeper and not GAP.search(LABEL.sub("", line).strip()) and not GAP.search(following.strip())
    )


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _fold(line: str, width: int) -> Iterator[str]:
    if len(line) <= width:
        yield line
        return
    indent = min(_indent(line), width // 5)
    row = ""
    for gap, word in _words(line.strip()):
        wider = f"{row}{gap}{word}" if row.strip() else f"{' ' * indent}{word}"
        if len(wider) > width and row.strip():
            yield row
            row = " " * min(indent + 2, width // 4) + word
        else:
            row = wider
    yield row


def _words(text: str) -> Iterator[tuple[str, str]]:
    """What may not be parted, with the blanks before it: words, and the short cells of a table."""
    for cell in GAP.split(text):
        if len(cell) <= 16 and GAP.search(text):
            yield "  ", cell
            continue
        for number, word in enumerate(cell.split(" ")):
            yield (" " if number else "  "), word
