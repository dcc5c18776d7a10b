"""What the outside checks found, as a file: `python -m tests.published.accuracy` writes ACCURACY.md.

It runs the tests that CHECKS.md lists and notes every comparison that they make: how far off each value
was, beside what was allowed. Nothing of the table is typed by hand but CHECKS.md's names and sources.
"""

import argparse
import csv
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
FILE = HERE / "ACCURACY.md"
RELIABILITY = "## The chance told, and how often it came"  # heads what tests.benchmarks.bench_evenings writes
HEAD = """# How right it is: the outside checks, measured

Made by `python -m tests.published.accuracy` from the checks themselves; [CHECKS.md](CHECKS.md) lists them
with their tests. *Worst* is the comparison of a check that came nearest to its tolerance: how far off it was,
beside what is allowed, in the unit of what is compared, or in per cent of the value. Where no figure stands,
the check asks for an inequality or for exact words; some of these tell in words what they found.
*Read* says what was read of the source, *would fail it* which defect the check finds (both from fails.csv).

## What the model does not know

- Any resin by name. The archetypes are ours; their rates and the diffusion constant are set by practice.
- The highest glass transition of a resin, unless its maker's sheet states one; and how far ageing moves it.
- Heat capacity's rise, draught and emissivity of a pot other than from memory; cups that are not as high as
  wide; a pot on ice, on metal or in a bucket. Smoke, boiling and fire are beyond it.
- How water in the air speeds a cure, but for the sign; how a surface greases; what a rest brings by number.
- The draught over a layer, and which way its face looks. Still air under a face that looks down is reckoned,
  which loses least: upright, five laminates gelled up to 16 % later, face up up to 25 %. So "laminate again
  before" errs early, and what is waited for may take longer than told.
- Bond strength. The window is a shape from a hot-cure system; no strength was measured for any archetype.
- Blush by number: no published formula exists. Orders are checked, the classes are ours.
- Whether a dose was weighed right, a mix stirred well, a cloth wetted out, a face clean.
- Kinetics of a resin that does not follow one of four forms; bands were held against three that are not ours.

## The checks

| check | origin and source | read | what is asked | would fail it | comparisons | worst | allowed |
|---|---|---|---|---|---|---|---|
"""
FAILS = HERE / "fails.csv"


@dataclass(slots=True)
class Found:
    """What one test compared."""

    asked: str = ""  # its docstring's first sentence
    comparisons: list[tuple[float, float, bool]] = field(default_factory=list)  # off, allowed, relative
    exact: int = 0  # comparisons that allow nothing but rounding
    measured: list[str] = field(default_factory=list)  # what it told by record_property("measured", …)


class Notes:
    """A plugin of pytest that notes every ``value == approx(expected)`` of the tests it sees."""

    def __init__(self) -> None:
        self.tests: dict[str, Found] = {}
        self._now = Found()

    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        function = getattr(item, "function", None)
        name = f"{item.path.parent.name}/{item.path.name}::{item.originalname}"  # type: ignore[attr-defined]
        self._now = self.tests.setdefault(name, Found(_sentence(function.__doc__ or "")))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when == "call":
            self._now.measured += [str(words) for name, words in report.user_properties if name == "measured"]

    def note(self, approx: Any, actual: Any) -> None:
        """One comparison, as `approx` is asked for it."""
        try:
            expected, value = float(approx.expected), float(actual)
        except (TypeError, ValueError):
            return
        if approx.rel is None and approx.abs is None:
            self._now.exact += 1  # no tolerance was asked for: it is the same but for rounding
            return
        allowed, off = float(approx.tolerance), abs(value - expected)
        relative = approx.rel is not None and expected != 0
        scale = abs(expected) if relative else 1.0
        self._now.comparisons.append((off / scale, allowed / scale, relative))


@contextmanager
def noting(notes: Notes) -> Iterator[None]:
    """While inside, every scalar comparison with `approx` is noted, and then made as always."""
    scalar = type(pytest.approx(1.0))
    compare = scalar.__eq__

    def noted(self: Any, actual: Any) -> bool:
        notes.note(self, actual)
        return bool(compare(self, actual))

    scalar.__eq__ = noted
    try:
        yield
    finally:
        scalar.__eq__ = compare


def _sentence(text: str) -> str:
    return " ".join(text.split()).partition(". ")[0].rstrip(".")


@dataclass(frozen=True, slots=True)
class Check:
    """One line of CHECKS.md."""

    name: str
    origin: str
    source: str
    tests: tuple[str, ...]


def checks() -> list[Check]:
    """CHECKS.md, line by line."""
    found = []
    for line in (HERE / "CHECKS.md").read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if line.startswith("|") and cells[0] != "check" and not cells[0].startswith("---"):
            found.append(Check(cells[0], cells[1], cells[2], tuple(re.findall(r"`([^`]+)`", cells[3]))))
    return found


def told() -> dict[str, tuple[str, str]]:
    """What was read of each check's source, and what would fail it."""
    with FAILS.open(encoding="utf-8", newline="") as file:
        return {row[0]: (row[1], row[2]) for row in csv.reader(file)}


def measure(tests: list[str], *, long: bool) -> dict[str, Found]:
    """Run these tests, and say what each compared."""
    notes = Notes()
    chosen = "long or not long" if long else "not long"
    options = [
        "-q",
        "-n",
        "0",
        "-m",
        chosen,
        "--randomly-dont-reorganize",
        "--randomly-dont-reset-seed",
        "-p",
        "no:cacheprovider",
        "--no-header",
        "--tb=short",
    ]
    with noting(notes):
        status = pytest.main([*options, *(str(HERE.parent / test) for test in tests)], plugins=[notes])
    if status not in {pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED}:
        raise SystemExit(f"the checks do not hold (pytest said {status}); nothing was written")
    return notes.tests


def worst(comparisons: list[tuple[float, float, bool]]) -> tuple[str, str]:
    """The comparison nearest to its tolerance, as words."""
    if not comparisons:
        return "", ""
    off, allowed, relative = max(comparisons, key=lambda one: one[0] / one[1] if one[1] else 0.0)
    return figure(off, relative), figure(allowed, relative)


def figure(value: float, relative: bool) -> str:
    """Three digits that count; a relative one in per cent."""
    return f"{100 * value:.3g} %" if relative else f"{value:.3g}"


def row(check: Check, measured: dict[str, Found]) -> str:
    """One line of the table."""
    found = [measured[test] for test in check.tests if test in measured]
    compared = [one for each in found for one in each.comparisons]
    asked = "; ".join(each.asked for each in found).replace("|", "/")
    count = len(compared) + sum(each.exact for each in found)
    off, allowed = worst(compared) if compared or not count else ("none", "none")
    said = "; ".join(words for each in found for words in each.measured)
    off = "; ".join(filter(None, (off, said)))
    read, fails = told()[check.name]
    cells = (check.name, f"*{check.origin}*: {check.source}", read, asked, fails, count or "", off, allowed)
    return f"| {' | '.join(map(str, cells))} |"


def table(measured: dict[str, Found], kept: dict[str, str]) -> str:
    """The whole file; a check of which nothing was measured now keeps its line."""
    lines = (
        row(check, measured)
        if check.name not in kept or any(test in measured for test in check.tests)
        else kept[check.name]
        for check in checks()
    )
    return HEAD + "\n".join(lines) + "\n"


def written() -> dict[str, str]:
    """The lines of the file as it is, by check."""
    lines = FILE.read_text(encoding="utf-8").splitlines() if FILE.exists() else []
    return {line.split(" | ")[0].removeprefix("| "): line for line in lines if line.startswith("| ")}


def main() -> None:
    """Write the file, or only show it."""
    options = argparse.ArgumentParser(description="Measure the outside checks and write ACCURACY.md.")
    options.add_argument("--show", action="store_true", help="print the file instead of writing it")
    options.add_argument(
        "word", nargs="*", help="only checks with this in their names; the others keep their lines"
    )
    options.add_argument("--quick", action="store_true", help="leave out what takes minutes; implies --show")
    asked = options.parse_args()
    chosen = [each for each in checks() if not asked.word or any(word in each.name for word in asked.word)]
    measured = measure([test for check in chosen for test in check.tests], long=not asked.quick)
    text = table(measured, written() if asked.word else {})
    if asked.show or asked.quick:
        sys.stdout.write(text)
    else:
        _, head, tables = FILE.read_text(encoding="utf-8").partition(RELIABILITY)
        FILE.write_text(text + (f"\n{head}{tables}" if head else ""), encoding="utf-8")


if __name__ == "__main__":
    main()
