"""Reads the tables that were typed from outside sources; each carries its origin in header lines."""

import csv
import gzip
from pathlib import Path

TABLES = Path(__file__).parent / "tables"
HEADINGS = ("document", "edition", "table", "tolerance", "origin")


def rows(name: str) -> list[dict[str, str]]:
    """The rows of ``tables/NAME.csv``, or of its packed form, as text by column name."""
    path = TABLES / f"{name}.csv"
    lines = text(path if path.exists() else TABLES / f"{name}.csv.gz").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def text(path: Path) -> str:
    """The text of a table, packed or not."""
    return (gzip.decompress(path.read_bytes()) if path.suffix == ".gz" else path.read_bytes()).decode("utf-8")


def header(path: Path) -> dict[str, str]:
    """The header lines ``# heading: text`` of one table."""
    found = {}
    for line in text(path).splitlines():
        heading, colon, said = line.removeprefix("#").partition(":")
        if line.startswith("#") and colon:
            found[heading.strip()] = said.strip()
    return found
