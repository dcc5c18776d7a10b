"""What may not be read or written is named, with a status, and without a traceback."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from curewatch.logbook import Logbook
from curewatch.readings import Reading
from tests.broker import PATIENCE
from tests.terminal import environment

ORDINARY = ["setpriv", "--inh-caps=-all", "--bounding-set=-all"]  # root that permissions hold for


def as_somebody(home: Path, *arguments: str) -> "subprocess.CompletedProcess[str]":
    """The program, without the right to look into everything."""
    if os.getuid() == 0 and shutil.which("setpriv") is None:
        pytest.skip("permissions do not hold for root, and there is no setpriv to give its rights away")
    before = ORDINARY if os.getuid() == 0 else []
    return subprocess.run(
        [*before, sys.executable, "-m", "curewatch", *arguments],
        cwd=home,
        env=environment(home),
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=False,
    )


@pytest.mark.parametrize(
    ("file", "arguments", "status", "said"),
    [
        ("curewatch.toml", "tonight", 78, "no permission for this user"),
        ("logbook.sqlite", "tonight", 1, "permissions"),
        *(
            pytest.param(*row, marks=pytest.mark.long)
            for row in (
                ("curve.csv", "cure --history curve.csv", 2, "not readable"),
                ("logbook.sqlite", "layer --mass 100", 1, "permissions"),
                ("logbook.sqlite", "ingest", 78, "permissions"),
                ("logbook.sqlite", "doctor", 1, "permissions"),
                ("curve.csv", "replay curve.csv", 2, "not readable"),
            )
        ),
    ],
)
def test_a_file_that_may_not_be_read_is_named(
    tmp_path: Path, file: str, arguments: str, status: int, said: str
) -> None:
    """Which file, and what to look at."""
    (tmp_path / "curewatch.toml").write_text('[logbook]\npath = "logbook.sqlite"\n')
    (tmp_path / file).touch()
    (tmp_path / file).chmod(0)
    done = as_somebody(tmp_path, *arguments.split())
    (tmp_path / file).chmod(0o600)
    assert done.returncode == status
    told = " ".join((done.stdout + done.stderr).split())
    assert said in told
    assert file in told
    assert "Traceback" not in told


def test_a_logbook_that_may_only_be_read_is_shown(tmp_path: Path) -> None:
    """On a card that is locked, or of somebody else: the board shows it, as `tonight` does."""
    (tmp_path / "curewatch.toml").write_text('[logbook]\npath = "logbook.sqlite"\n')
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append([Reading("bench", 1.79e9, 1.79e9, 290.0, 0.5)])
    (tmp_path / "logbook.sqlite").chmod(0o444)
    tmp_path.chmod(0o555)
    try:
        told = [as_somebody(tmp_path, *line.split()) for line in ("tonight", "watch --look --once --plain")]
    finally:
        tmp_path.chmod(0o755)
    assert [each.returncode for each in told] == [4, 4], told
    assert "bench" in told[1].stdout
