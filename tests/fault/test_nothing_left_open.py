"""What is refused holds no file open, whoever keeps the error."""

from contextlib import ExitStack
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.daemon.loop import BootFailed, Daemon
from curewatch.errors import StoreFailed
from curewatch.logbook import Logbook
from curewatch.logbook.lock import Lock

OPEN_FILES = Path("/proc/self/fd")
pytestmark = pytest.mark.skipif(not OPEN_FILES.exists(), reason="this system does not list a process's files")


def open_below(folder: Path) -> list[str]:
    """Files of this folder that the process holds open."""
    found = [str(each.readlink()) for each in OPEN_FILES.iterdir() if each.is_symlink()]
    return [name for name in found if name.startswith(f"{folder}/")]


@pytest.mark.parametrize("read_only", [False, True])
def test_a_file_that_is_no_database_is_let_go(tmp_path: Path, read_only: bool) -> None:
    """The connection is closed where it was opened."""
    path = tmp_path / "logbook.sqlite"
    path.write_bytes(b"not a database at all" * 99)
    with pytest.raises(StoreFailed) as rejected:
        Logbook(path, read_only=read_only)
    assert str(path) in str(rejected.value)
    assert open_below(tmp_path) == []


def test_a_daemon_that_may_not_start_lets_the_logbook_go(tmp_path: Path) -> None:
    """Another daemon has it: the second keeps neither the file nor its lock."""
    path = tmp_path / "logbook.sqlite"
    with ExitStack() as held:
        held.callback(Lock(path, "curewatch ingest", 0.0).release)
        before = open_below(tmp_path)
        with pytest.raises(BootFailed) as rejected:
            Daemon(configuration.parse(f'[logbook]\npath = "{path}"\n'))
        assert "in use" in str(rejected.value)
        assert open_below(tmp_path) == before
