"""What the documents of the repository say, taken apart: commands to type, links, headings."""

import re
from collections.abc import Iterator
from pathlib import Path

import curewatch

ROOT = Path(__file__).parents[1]
PACKAGE = Path(curewatch.__file__).parents[1]  # where `curewatch/…` lies, from a wheel too
DOCUMENTS = (
    "README.md",
    "DEVELOPERS.md",
    "firmware_notes/*.md",
    "recordings/README.md",
    "tests/published/*.md",
    "tests/benchmarks/README.md",
)
OF_ROOMS = "curewatch/**/README.md"
TO_TYPE = re.compile(r"^(?: {4}| *)(curewatch .*)$")
LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
HEADING = re.compile(r"^#+ +(.*)$", re.MULTILINE)


def documents() -> list[Path]:
    """Every document for readers."""
    found = [path for pattern in DOCUMENTS for path in ROOT.glob(pattern)]
    return sorted([*found, *PACKAGE.glob(OF_ROOMS)])


def commands(document: Path) -> list[str]:
    """The lines that begin with ``curewatch`` in its fenced or indented blocks, in order."""
    found, fenced = [], False
    for line in document.read_text(encoding="utf-8").splitlines():
        if line.strip().startswith("```"):
            fenced = not fenced
        elif (fenced or line.startswith("    ")) and (typed := TO_TYPE.match(line)):
            found.append(typed[1])
    return found


def links(document: Path) -> Iterator[tuple[str, str]]:
    """Each link inside the repository: the path it names ("" for the document itself), and its heading."""
    for target in LINK.findall(document.read_text(encoding="utf-8")):
        if "://" not in target:
            path, _, heading = target.partition("#")
            yield path, heading


def headings(document: Path) -> set[str]:
    """The headings as links name them."""
    text = document.read_text(encoding="utf-8")
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in HEADING.findall(text)}


def linked(document: Path, path: str) -> Path:
    """The file that a link of this document means."""
    beside = document.parent / path if path else document
    return beside if beside.exists() else PACKAGE / path
