"""A new user's first evening: a clone, an environment of its own, `setup` on a terminal, and an answer."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from curewatch.errors import ExitStatus
from tests.benchmarks import bench_new_user

ANSWERS = {ExitStatus.OK, ExitStatus.NO_GO}  # the simulated shed is heard: whatever it is, it is known


def registry_answers(folder: Path) -> bool:
    """Whether a package can be fetched at all."""
    fetch = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "-d", str(folder), "pyserial"]
    environment = {**os.environ, **bench_new_user.new_environment(folder)}
    return subprocess.run(fetch, env=environment, capture_output=True, check=False).returncode == 0


@pytest.mark.long
def test_from_a_clone_to_the_first_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """New home, new environment, no configuration, a simulated board on a serial port."""
    if not (bench_new_user.SOURCE / ".git").exists() or shutil.which("git") is None:
        pytest.skip("no repository to clone: name one in CUREWATCH_SOURCE")
    if not registry_answers(tmp_path / "fetched"):
        pytest.skip("no package registry can be reached")
    home = tmp_path / "home"
    home.mkdir()
    steps = bench_new_user.Steps()
    status = bench_new_user.first_evening(home, steps)
    with capsys.disabled():
        print(f"\n{steps.table()}")
    assert status in ANSWERS
    assert (home / "curewatch.toml").exists()
    assert [name for name, _ in steps.taken][-2:] == [
        "curewatch setup, and a first answer",
        "curewatch tonight, again",
    ]
