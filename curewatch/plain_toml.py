"""TOML of a bounded size and depth: a small file can take a parser gigabytes, or more depth than it has.

The standard parser keeps every beginning of a dotted key, so one key of a megabyte takes 3.5 GB. No file of
ours has a line of four thousand characters or a key of eight names.
"""

import re
import tomllib
from typing import Any

LARGEST = 1_000_000  # characters
LONGEST_LINE = 4000  # characters
DEEPEST = 8  # names in one key
_DOTTED = re.compile(rf"(?<![^.=\s{{,\[])(?:[^.=\s]++\s*+\.\s*+){{{DEEPEST}}}")


def loads(text: str) -> dict[str, Any]:
    """What this text says.

    Raises
    ------
    TOMLDecodeError
        It is not TOML, or larger or deeper than any file of ours.
    """
    if len(text) > LARGEST:
        raise tomllib.TOMLDecodeError(f"more than {LARGEST:,} characters (at line 1, column 1)")
    for number, row in enumerate(text.splitlines(), 1):
        if len(row) > LONGEST_LINE:
            raise tomllib.TOMLDecodeError(f"{len(row):,} characters in one line (at line {number}, column 1)")
        if _DOTTED.search(row):
            raise tomllib.TOMLDecodeError(f"a key of {DEEPEST} names or more (at line {number}, column 1)")
    try:
        return tomllib.loads(text)
    except RecursionError as trouble:
        raise tomllib.TOMLDecodeError("lists inside one another, too deep (at line 1, column 1)") from trouble
