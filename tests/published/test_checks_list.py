"""CHECKS.md is true: every outside check is listed with its origin, and what it lists exists."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.published.accuracy import told
from tests.published.published_rows import HEADINGS, TABLES, header

HERE = Path(__file__).parent
ORIGINS = ("published", "open data", "computed", "common practice", "from memory", "assumed")


def listed() -> list[tuple[str, str, str, str]]:
    cells = []
    for line in (HERE / "CHECKS.md").read_text(encoding="utf-8").splitlines():
        found = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if line.startswith("|") and found[0] != "check" and not found[0].startswith("---"):
            cells.append((found[0], found[1], found[2], found[3]))
    return cells


def test_each_listed_check_has_a_known_origin_a_source_and_a_test_that_exists() -> None:
    """A line of CHECKS.md names an origin, a source and tests that can be found in the tests."""
    lines = listed()
    assert lines
    for check, origin, source, tests in lines:
        assert origin in ORIGINS, f"{check}: {origin}"
        assert source, check
        for identity in re.findall(r"`([^`]+)`", tests):
            file, name = identity.split("::")
            text = (HERE.parent / file).read_text(encoding="utf-8")
            assert re.search(rf"^\s*def {name}\(", text, re.MULTILINE), f"{check}: no {identity}"
        assert "`" in tests, f"{check} names no test"


def test_each_test_of_this_folder_is_listed() -> None:
    """No check against an outside source is left out of CHECKS.md."""
    text = (HERE / "CHECKS.md").read_text(encoding="utf-8")
    for path in HERE.glob("test_*.py"):
        if path.name == Path(__file__).name:
            continue
        for name in re.findall(r"^\s*def (test_\w+)\(", path.read_text(encoding="utf-8"), re.MULTILINE):
            assert f"`published/{path.name}::{name}`" in text, f"{path.name}::{name} is not in CHECKS.md"


def test_each_table_says_where_it_comes_from_and_is_read_by_a_test() -> None:
    """A table carries document, edition, table, tolerance and origin, and some test reads it."""
    tests = "".join(path.read_text(encoding="utf-8") for path in HERE.parent.rglob("test_*.py"))
    for path in [*TABLES.glob("*.csv"), *TABLES.glob("*.csv.gz")]:
        found = header(path)
        for heading in HEADINGS:
            assert found.get(heading), f"{path.name} has no '{heading}'"
        assert found["origin"] in ORIGINS, path.name
        assert f'"{path.name.partition(".")[0]}"' in tests, f"no test reads {path.name}"


def test_the_measured_file_has_a_line_for_each_check() -> None:
    """ACCURACY.md names every check of CHECKS.md with its origin and source, in the same order."""
    text = (HERE / "ACCURACY.md").read_text(encoding="utf-8")
    found = re.findall(r"^\| ([^|]+) \| \*([^*]+)\*: ([^|]+) \|", text, re.MULTILINE)
    assert found == [(check, origin, source) for check, origin, source, _ in listed()], (
        "CHECKS.md has changed: python -m tests.published.accuracy"
    )


def test_each_check_says_what_was_read_and_what_would_fail_it() -> None:
    """No row of fails.csv is left over, none is missing, and both columns are filled and shown."""
    names, said = [check for check, *_ in listed()], told()
    assert list(said)[1:] == names
    shown = (HERE / "ACCURACY.md").read_text(encoding="utf-8")
    for name in names:
        read, fails = said[name]
        assert len(read) > 3, name
        assert len(fails) > 10, name
        assert f"| {name} | " in shown
        assert f" | {fails} | " in shown
    assert "## What the model does not know" in shown


@pytest.mark.long
def test_the_measured_file_still_says_what_is_measured() -> None:
    """Tolerances are those of the tests; no deviation has grown by more than half since it was written."""
    text = (HERE / "ACCURACY.md").read_text(encoding="utf-8")
    command = [sys.executable, "-m", "tests.published.accuracy", "--quick"]
    shown = subprocess.run(command, cwd=HERE.parents[1], capture_output=True, text=True, check=True).stdout
    written, now = figures(text), figures(shown)
    assert len(now) > 15
    for check, (off, allowed) in now.items():
        was, was_allowed = written[check]
        assert allowed == was_allowed, check
        assert off <= max(1.5 * was, 0.05 * allowed), check


def figures(text: str) -> dict[str, tuple[float, float]]:
    """Check -> how far off, and what is allowed, where a table has figures."""
    rows = re.findall(r"^\| ([^|]+) \|.*\| ([\d.e+-]+)(?: %)? \| ([\d.e+-]+)(?: %)? \|$", text, re.MULTILINE)
    return {check: (float(off), float(allowed)) for check, off, allowed in rows}
