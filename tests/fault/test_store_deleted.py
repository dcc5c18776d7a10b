"""Calamity: the logbook's file is deleted, or replaced, while it is in use."""

import shutil
from pathlib import Path

import pytest

from curewatch.errors import StoreFailed
from curewatch.logbook import Logbook
from curewatch.logbook.backup import backup
from tests import record_world as world


def test_a_deleted_file_is_noticed_before_the_next_commit(tmp_path: Path):
    """Nothing is written into a file that no longer has a name; once it is put back, the batch goes in."""
    path = tmp_path / "logbook.sqlite"
    first = list(world.readings(world.OPENED, world.OPENED + 3600.0))
    second = list(world.readings(world.OPENED + 3600.0, world.OPENED + 7200.0))
    with Logbook(path) as logbook:
        logbook.append(first)
        copy = backup(logbook, tmp_path / "copy.sqlite")
        for left in tmp_path.glob("logbook.sqlite*"):
            left.unlink()
        for _ in range(3):
            with pytest.raises(StoreFailed, match="removed or replaced"):
                logbook.append(second)
        assert not path.exists()
        shutil.copy(copy, path)
        with pytest.raises(StoreFailed, match="removed or replaced"):
            logbook.append(second)
        assert logbook.append(second) == len(second)
        assert logbook.verify().head.readings == len(first) + len(second)


def test_a_deleted_folder_is_noticed_too(tmp_path: Path):
    """The whole folder is gone: said, not crashed."""
    with Logbook(tmp_path / "shed" / "logbook.sqlite") as logbook:
        logbook.append(world.readings(world.OPENED, world.OPENED + 600.0))
        shutil.rmtree(tmp_path / "shed")
        with pytest.raises(StoreFailed, match="removed or replaced"):
            logbook.append(world.readings(world.OPENED, world.OPENED + 900.0))
