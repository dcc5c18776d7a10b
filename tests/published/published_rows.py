"""Reads the tables that were typed from outside sources; each carries its origin in header lines."""

import csv
from pathlib import Path

TABLES = Path(__file__).parent / "tables"
HEADINGS = ("document", "edition", "table", "tolerance", "origin")


def rows(name: str) -> list[dict[str, str]]:
    """The rows of ``tables/NAME.csv`` as text by column name."""
    lines = (TABLES / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def header(path: Path) -> dict[str, str]:
    """The header lines ``# heading: text`` of one table."""
    found = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        heading, colon, text = line.removeprefix("#").partition(":")
        if line.startswith("#") and colon:
            found[heading.strip()] = text.strip()
    return found
