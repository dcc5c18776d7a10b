"""Calamity: power fails while the log is written. The file is whole, and the log ends anywhere."""

import random
from pathlib import Path

import pytest

from curewatch.errors import CurewatchError
from curewatch.logbook import Logbook
from tests import record_world as world

COMMITS = 60


class Written:
    """A logbook in its log, with what the log measured before and after each commit returned."""

    def __init__(self, path: Path) -> None:
        readings = list(world.readings(world.OPENED, world.OPENED + 86400.0, step=120.0))
        log = path.with_name(path.name + "-wal")
        self.begun: list[int] = []
        self.done: list[int] = []
        self.counts = [0]
        with Logbook(path) as logbook:
            logbook._connection.execute("PRAGMA wal_autocheckpoint = 0")
            for commit in range(COMMITS):
                self.begun.append(log.stat().st_size)
                logbook.append(readings[commit * 30 : commit * 30 + 30])
                self.done.append(log.stat().st_size)
                self.counts.append(self.counts[-1] + 30)
            self.file, self.log = path.read_bytes(), log.read_bytes()

    def acknowledged(self, length: int, marks: list[int]) -> int:
        """Readings that were acknowledged when the log had so many bytes, by this rule."""
        return self.counts[sum(mark <= length for mark in marks)]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Written:
    return Written(tmp_path_factory.mktemp("torn") / "logbook.sqlite")


def stored(written: Written, path: Path, length: int, rubbish: bytes) -> int:
    """What is there after the power fails with so many bytes of the log on the disk, and rubbish behind."""
    for left in path.parent.glob(f"{path.name}*"):
        left.unlink()
    path.write_bytes(written.file)
    path.with_name(path.name + "-wal").write_bytes(written.log[:length] + rubbish)
    try:
        with Logbook(path) as logbook:
            return logbook.verify().head.readings
    except CurewatchError as trouble:
        pytest.fail(f"{length} bytes of the log: {trouble}")


@pytest.mark.parametrize("images", [12, pytest.param(240, marks=pytest.mark.long)])
def test_a_torn_log_loses_nothing_that_was_acknowledged(
    written: Written, tmp_path: Path, images: int
) -> None:
    """Whatever is left of the log, the chain holds and every commit that had returned is there."""
    chance, control = random.Random(images), 0
    for image in range(images):
        length = chance.randrange(written.done[0], len(written.log))
        rubbish = chance.randbytes(chance.choice([0, 7, 4096])) if image % 2 else b""
        found = stored(written, tmp_path / "logbook.sqlite", length, rubbish)
        assert found >= written.acknowledged(length, written.done), length
        control += found < written.acknowledged(length, written.begun)
    assert control, "the control: who acknowledges before the commit has lost something"
