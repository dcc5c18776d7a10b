"""Screens as they are kept in `tests/unit/goldens`, line by line."""

import os
from pathlib import Path

GOLDENS = Path(__file__).parent / "unit" / "goldens"
ANEW = "a screen changed: run with CUREWATCH_WRITE_GOLDENS=1 and read the diff of tests/unit/goldens"


def golden(name: str, shown: str) -> str:
    """The kept screen of this name; it is first written anew where CUREWATCH_WRITE_GOLDENS is set."""
    path = GOLDENS / f"{name}.txt"
    if os.environ.get("CUREWATCH_WRITE_GOLDENS"):
        path.write_text(shown, encoding="utf-8")
    return path.read_text(encoding="utf-8")
