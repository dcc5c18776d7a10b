"""Calamity: the disk is full, or cannot be written. Real file systems, mounted for the test alone."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.broker import PATIENCE

CHILD = Path(__file__).parent.parent / "on_a_small_disk.py"


def on_a_disk(tmp_path: Path, what: str) -> str:
    """Run one of the scenes of ``on_a_small_disk`` on a disk of 1 MB that only the child sees."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = f'mount -t tmpfs -o size=1m tmpfs "{disk}" && exec "$0" "$@"'
    command = [
        "unshare",
        "--user",
        "--map-root-user",
        "--mount",
        "sh",
        "-c",
        mount,
        sys.executable,
        str(CHILD),
        what,
    ]
    if shutil.which("unshare") is None or subprocess.run([*command[:4], "true"], check=False).returncode:
        if os.environ.get("CUREWATCH_REQUIRE_SYSTEM_TOOLS"):
            pytest.fail("no file system can be mounted here")
        pytest.skip("no file system can be mounted here")
    # the child imports its neighbours in tests/, also where only the wheel is installed
    surroundings = os.environ | {"PYTHONPATH": str(CHILD.parents[1])}
    done = subprocess.run(
        [*command, str(disk)], capture_output=True, text=True, timeout=PATIENCE, check=False, env=surroundings
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_a_full_disk_is_loud_and_nothing_stored_is_lost(tmp_path: Path):
    """What does not fit is refused whole; with room again the same batch goes in; the chain holds."""
    said = on_a_disk(tmp_path, "full")
    assert "the disk is full; make room" in said
    assert "kept after it was full: True" in said
    assert "the same batch went in: True" in said
    assert "holds: True" in said


def test_a_disk_that_turned_read_only_is_named(tmp_path: Path):
    """As a dying memory card does: what was stored can be read, what comes is refused with its reason."""
    said = on_a_disk(tmp_path, "read-only")
    assert "cannot be written" in said or "cannot be opened" in said
    assert "readable: True" in said
