"""The line form's vectors, through the reader and through every encoder: ours, MicroPython's, and C++."""

import csv
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from curewatch.clock import Instant
from curewatch.readings import Reading, Rejected
from curewatch.wire import lines

NOTES = Path(__file__).parents[2] / "firmware_notes"
NOW = Instant(1_792_250_000.0, 0.0)


def vectors() -> list[dict[str, str]]:
    text = (NOTES / "line_vectors.csv").read_text(encoding="ascii").splitlines()
    return list(csv.DictReader(row for row in text if not row.startswith("#")))


def fields() -> str:
    return "".join(",".join(list(row.values())[:-1]) + "\n" for row in vectors())


def expected() -> list[str]:
    return [row["line"] for row in vectors()]


def value(row: dict[str, str], key: str) -> float | None:
    return float(row[key]) if row[key] else None


def whole(row: dict[str, str], key: str) -> int | None:
    return int(row[key]) if row[key] else None


def test_the_reader_reads_each_vector():
    """Each line of the vectors gives its fields back."""
    for row in vectors():
        reading = lines.parse(row["line"].encode(), NOW)
        assert isinstance(reading, Reading), row
        assert reading.sensor == row["sensor"]
        t, h = value(row, "t"), value(row, "h")
        assert reading.temperature == (None if t is None else pytest.approx(t + 273.15, abs=0.00501))
        assert reading.relative_humidity == (None if h is None else pytest.approx(h / 100, abs=0.0000501))
        assert reading.sequence == whole(row, "n")
        at, age = whole(row, "at"), whole(row, "age")
        assert reading.time == (at if at is not None else NOW.utc - (age or 0))


def test_the_reader_refuses_what_must_be_refused():
    """Each line that must be refused is, for the reason that the notes give."""
    rows = (NOTES / "refused_lines.txt").read_text(encoding="ascii").splitlines()
    checked = 0
    for row in rows:
        if not row.startswith("#"):
            reason, line = row.split("\t")
            event = lines.parse(line.encode(), NOW)
            assert isinstance(event, Rejected), row
            assert event.reason == reason
            checked += 1
    assert checked >= 10


def test_our_own_encoder_makes_each_vector():
    """What the simulated shed prints is what a board would."""
    made = [
        lines.encode(
            row["sensor"],
            value(row, "t"),
            value(row, "h"),
            carbon_dioxide_ppm=value(row, "c"),
            battery_percent=value(row, "b"),
            sequence=whole(row, "n"),
            age=value(row, "age"),
            at=value(row, "at"),
        ).decode()
        for row in vectors()
    ]
    assert made == expected()


def test_the_cpp_encoder_makes_each_vector(tmp_path):
    """The header compiles without a warning and prints the vectors' lines."""
    compiler = shutil.which("g++") or shutil.which("c++")
    if compiler is None:
        if os.environ.get("CUREWATCH_REQUIRE_SYSTEM_TOOLS") == "1":
            pytest.fail("g++ is missing: install it, the C++ encoder is not checked without")
        pytest.skip("no C++ compiler here; .ci/run installs one and insists")
    program = tmp_path / "encode"
    source = NOTES / "cpp" / "encode_vectors.cpp"
    options = ["-std=c++11", "-Wall", "-Wextra", "-Werror", "-pedantic"]
    subprocess.run([compiler, *options, "-o", program, source], check=True)
    made = subprocess.run([program], input=fields(), capture_output=True, text=True, check=True).stdout
    assert made.splitlines() == expected()


MICROPYTHON_ENCODES = """
import sys
sys.path.insert(0, sys.argv[1])
from line_form import encode
for row in sys.stdin.read().split("\\n"):
    if row:
        cells = [cell if cell else None for cell in row.split(",")]
        t, h, c, b = [None if cell is None else float(cell) for cell in cells[1:5]]
        n, age, at = [None if cell is None else int(cell) for cell in cells[5:8]]
        print(encode(cells[0], t, h, c, b, n, age, at).decode())
print(encode("bench", float("nan"), None, n=1))
print(encode("bench", float("nan"), 50.0, n=1).decode())
"""


def test_the_micropython_encoder_makes_each_vector(tmp_path):
    """The node's own code, run by real MicroPython, prints the vectors' lines; nan is left out."""
    if sys.platform != "linux":
        pytest.skip("MicroPython's unix build is packaged for Linux")
    script = tmp_path / "encode.py"
    script.write_text(MICROPYTHON_ENCODES, encoding="ascii")
    done = subprocess.run(
        [sys.executable, "-m", "micropython_unix", script, NOTES / "micropython"],
        input=fields(),
        capture_output=True,
        text=True,
        check=True,
    )
    *made, nothing, half = done.stdout.splitlines()
    assert made == expected()
    assert nothing == "None"
    assert lines.parse(half.encode(), NOW).temperature is None
