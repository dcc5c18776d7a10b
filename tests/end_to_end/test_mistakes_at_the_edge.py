"""Mistakes with numbers, dates, names and files: each has its text, its status, and no traceback.

The folder they are made in has a job, a folder, and files that are not what they are taken for.
"""

import os
import shlex
import subprocess
import sys
import time
from pathlib import Path

import pytest

from curewatch.cli.main import run
from curewatch.errors import ExitStatus
from curewatch.logbook import Logbook
from curewatch.worklog import telling
from tests.broker import PATIENCE
from tests.terminal import environment

USAGE, FAILURE, CONFIGURATION = ExitStatus.USAGE, ExitStatus.FAILURE, ExitStatus.CONFIGURATION
BROKEN = ExitStatus.RECORD_BROKEN
SETTINGS = '[shed]\nzone = "Europe/Lisbon"\n[logbook]\npath = "logbook.sqlite"\n'
LONG = "a" * 2001

# what was typed -> exit status, and what the message must contain
TYPED: list[tuple[str, ExitStatus, str]] = [
    # numbers and units
    ("air 12 -5", USAGE, "1 to 100 %"),
    ("air 12 80 --surface 49K", USAGE, "Use 12 C or 54 F"),
    ("air nan 80", USAGE, "'nan', no temperature"),
    ("air 1e10 80", USAGE, "'1e10', no temperature"),
    ("air '' 80", USAGE, "'', no temperature"),
    ("cure --temperature -400", USAGE, "Use -30 to 150"),
    ("cure --temperature 12 --hours 1e10", USAGE, "0.1 to 1440"),
    ("cure --temperature 12 --mass -5g", USAGE, "'-5g', no mass"),
    ("cure --temperature 12 --mass 21kg", USAGE, "1 g to 20 kg"),
    ("cure --temperature 12 --thickness -1", USAGE, "0.1 to 50 mm"),
    ("cure --temperature 12 --humidity 140", USAGE, "1 to 100 %"),
    ("cure --temperature 12 --thickness 2 --on cheese", USAGE, "--on: found 'cheese'. Use plywood"),
    ("cure --temperature 12 --resin ''", USAGE, "no resin system is called ''"),
    ("tonight --resin ''", USAGE, "no resin system is called ''"),
    ("tonight --mass 99999999999999999999kg", USAGE, "more than any scale here"),
    ("tonight --mass ''", USAGE, "'', no mass"),
    ("layer --mass 30kg", USAGE, "1 g to 20 kg"),
    ("layer --layers 0", USAGE, "a whole number from 1 to 99"),
    ("layer --ago -5min", USAGE, "Use a span of time"),
    ("layer --ago 99999999999999999999d", USAGE, "more than 20 years"),
    (f"layer --text {LONG}", USAGE, "at most 2000"),
    ("layup round --length 1e9 --thickness 6", USAGE, "no length"),
    ("job batch --resin-mass 100 --hardener-mass 0", USAGE, "'0', no mass"),
    ("job batch --resin-mass 1e400 --hardener-mass 1", USAGE, "'1e400', no mass"),
    ("job batch --resin-mass 100 --hardener-mass 22 --scale nan", USAGE, "above 0 to 100 g"),
    ("job batch --resin-mass 100 --hardener-mass 100", FAILURE, "nothing was written down"),
    ("job quality --check 'peel coupon' --load '2 kg' --arm -120", USAGE, "no length"),
    ("observe gelled --temperature 900", USAGE, "Use -30 to 150"),
    ("simulate --hours -1 --file -", USAGE, "Use 1 to a year's, by --hours"),
    ("simulate --hours nan --file -", USAGE, "Use 1 to a year's, by --hours"),
    ("simulate --hours inf --file -", USAGE, "Use 1 to a year's, by --hours"),
    (
        "simulate --count 1 --fault silent:hall@0s --file -",
        USAGE,
        "found sensor 'hall'. Use bench, hull, yard",
    ),
    ("logbook export x.csv --sensor hall", USAGE, "--sensor: found 'hall'. Use "),
    ("logbook export x.jsonl --sensor bench", USAGE, "entries are of no sensor"),
    (
        "logbook export x.csv --since 2026-12-01 --until 2026-11-01",
        USAGE,
        "--until: found '2026-11-01', not after",
    ),
    ("resin compare --temperature 12", USAGE, "give both --temperature and --humidity"),
    # dates and hours
    ("tonight --at 2026-02-30", USAGE, "no moment"),
    ("tonight --at '2026-03-29 01:30'", USAGE, "which the clocks of"),
    ("tonight --at 2020-01-01", USAGE, "which is past"),
    ("tonight --at 9999-12-31", USAGE, "far from now"),
    ("tonight --at 2190-01-01", USAGE, "more than 20 years away"),
    ("layer --at 2040-01-01", USAGE, "still to come"),
    ("job note --text x --at 0001-01-01", USAGE, "far from now"),
    ("job note --text x --ago 9999999d", USAGE, "more than 20 years"),
    ("logbook export x.csv --since 2026-02-30", USAGE, "Use 2026-11-25"),
    ("alerts --past never", USAGE, "Use a span of time"),
    # names
    ("explain ''", USAGE, "`curewatch explain` lists the terms"),
    ("explain \N{GRINNING FACE}", USAGE, "lists the terms"),
    ("job open --title ''", USAGE, "--title"),
    ("job open --title x --name 'bad name'", USAGE, "letters, digits, - and _"),
    ("job note --text ' '", USAGE, "it was empty"),
    ("job correct 1 --set title= --reason misread", USAGE, "title cannot be left empty"),
    ("job correct 999999999999999999999999 --set text=a --reason b", USAGE, "cannot be corrected"),
    ("record write ../J1", USAGE, "there is no job '../J1'"),
    ("logbook verify --code XXXX", USAGE, "a seal code has 28 characters"),
    ("manual --schema nothing", USAGE, "schema: found 'nothing'. Use air"),
    ("simulate --broker ''", USAGE, "HOST or HOST:PORT"),
    # files that are not what they are taken for
    ("tonight --config folder", CONFIGURATION, "found a folder, not a file"),
    ("tonight --config noise.bin", CONFIGURATION, "Use text in UTF-8"),
    ("cure --history folder", USAGE, "a folder, not a file"),
    ("cure --history noise.bin", USAGE, "Use a CSV of time and temperature"),
    ("cure --history empty.csv", USAGE, "found no rows"),
    ("cure --history huge.csv", USAGE, "is the unit right?"),
    ("cure --temperature 12 --chart x.gif", USAGE, ".svg or .png"),
    ("observe --cup noise.bin --mass 100", USAGE, "Use a CSV of time and temperature"),
    ("job photo folder", USAGE, "a folder, not a file"),
    ("job photo noise.bin", USAGE, "JPEG, PNG, WebP and TIFF"),
    ("job photo ''", USAGE, "it was empty"),
    ("replay noise.bin", USAGE, "no reading with a time of its own"),
    ("replay empty.csv", USAGE, "no reading with a time of its own"),
    ("replay headings.csv", USAGE, "it begins 'when,warm,damp'"),
    ("forecast noise.bin", USAGE, "found no reading"),
    ("resin fit noise.bin", CONFIGURATION, "a TOML file in UTF-8"),
    ("logbook backup folder", USAGE, "found a file of that name. Use a new name"),
    ("logbook backup nowhere/copy.sqlite", USAGE, "is the disk for copies plugged in?"),
    ("logbook export x.docx", USAGE, "csv, senml, parquet, entries"),
    ("record verify noise.bin", BROKEN, "noise.bin: expected the PDF of a record"),
    ("record verify folder", BROKEN, "folder: expected the files of a record in it, found none"),
    ("record write J1 --output noise.bin", USAGE, "Use a folder"),
    ("simulate --file folder", USAGE, "a folder, not a file"),
]


@pytest.fixture(scope="module")
def folder_in_use(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a job, a folder, and what is not what it is taken for; no mistake may change it."""
    tmp_path = tmp_path_factory.mktemp("bench")
    (tmp_path / "curewatch.toml").write_text(SETTINGS)
    (tmp_path / "noise.bin").write_bytes(bytes([0xFF, 0xFE, 0x00, 0xC8]) * 500)
    (tmp_path / "empty.csv").write_bytes(b"")
    (tmp_path / "headings.csv").write_text("when,warm,damp\n2026-10-17T14:00:00Z,12,80\n")
    (tmp_path / "huge.csv").write_text("time,temperature,humidity\n2026-11-25 10:00,1e10,50\n")
    (tmp_path / "folder").mkdir()
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.write(telling.opening(logbook, {"title": "new rudder cheek"}, time.time(), None))
    return tmp_path


@pytest.fixture
def bench(folder_in_use: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """That folder as home and as the place where the mistakes are made."""
    monkeypatch.chdir(folder_in_use)
    monkeypatch.setenv("HOME", str(folder_in_use))
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "CUREWATCH_CONFIG", "CUREWATCH_UNITS"):
        monkeypatch.delenv(name, raising=False)
    return folder_in_use


def test_there_are_enough_of_them() -> None:
    """Thirty and more that are not among the others."""
    assert len({typed for typed, _, _ in TYPED}) >= 60


@pytest.mark.parametrize(("typed", "status", "said"), TYPED, ids=[typed[:60] for typed, _, _ in TYPED])
def test_a_mistake_is_told_and_nothing_is_written(
    typed: str, status: ExitStatus, said: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One message on stderr, its status, nothing that looks like an answer, nothing in the logbook."""
    before = {path.name for path in bench.iterdir()}
    with pytest.raises(SystemExit) as stop:
        run(shlex.split(typed))
    shown = capsys.readouterr()
    assert stop.value.code == status
    assert said in " ".join(shown.err.split())
    assert shown.err.startswith("curewatch: ")
    assert shown.out == ""
    assert {path.name for path in bench.iterdir()} <= before | {"logbook.sqlite-wal", "logbook.sqlite-shm"}
    with Logbook(bench / "logbook.sqlite", read_only=True) as logbook:
        assert [entry.kind for entry in logbook.entries()] == ["job-open"]


@pytest.mark.long
def test_two_daemons_are_one_too_many(tmp_path: Path) -> None:
    """The second says who holds the logbook, and ends with a status."""
    settings = tmp_path / "curewatch.toml"
    settings.write_text(f'{SETTINGS}[serial.usb]\nurl = "loop://"\n')
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.hold("ingest", time.time())
        second = subprocess.run(
            [sys.executable, "-m", "curewatch", "ingest"],
            cwd=tmp_path,
            env=environment(tmp_path),
            capture_output=True,
            text=True,
            timeout=PATIENCE,
            check=False,
        )
    assert second.returncode == CONFIGURATION  # a service manager must not try for ever
    assert str(os.getpid()) in second.stderr
    assert "Traceback" not in second.stderr
