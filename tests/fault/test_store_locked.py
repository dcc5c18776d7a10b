"""Calamity: another program holds the logbook's file locked."""

import sqlite3
from pathlib import Path

import pytest

from curewatch.errors import StoreFailed
from curewatch.logbook import Logbook, store
from tests import record_world as world


def test_a_locked_file_is_named_and_nothing_is_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A browser holds the write lock: StoreFailed says so; the same batch goes in once it lets go."""
    monkeypatch.setattr(store, "BUSY_MS", 50)
    batch = list(world.readings(world.OPENED, world.OPENED + 3600.0))
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        other = sqlite3.connect(logbook.path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreFailed, match="locked; close that program"):
            logbook.append(batch)
        assert len(logbook.series("bench").time) == 0
        other.execute("ROLLBACK")
        other.close()
        assert logbook.append(batch) == len(batch)
        assert logbook.verify().head.readings == len(batch)


def test_readers_are_not_kept_out_by_a_writer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """While somebody writes, what was committed can be read."""
    monkeypatch.setattr(store, "BUSY_MS", 50)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(world.readings(world.OPENED, world.OPENED + 600.0))
        other = sqlite3.connect(logbook.path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with Logbook(logbook.path, read_only=True) as reader:
            assert len(reader.series("hull").time) == 10
        other.execute("ROLLBACK")
        other.close()
