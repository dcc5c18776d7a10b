"""There is one door to a logbook, and behind it a port that any store can fill."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import curewatch
from curewatch.errors import UsageError
from curewatch.logbook import Logbook, LogbookStore, open_logbook
from curewatch.logbook.postgres.logbook import PostgresLogbook

SOURCE = Path(curewatch.__file__).parent
ROOM = SOURCE / "logbook"


def named(file: Path) -> set[str]:
    """What a module imports: modules, and names from the logbook's room; nothing where it has none."""
    found, source = set[str](), file.read_text(encoding="utf-8")
    if "sqlite3" not in source and "curewatch.logbook" not in source:
        return found
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {each.name for each in node.names}
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{each.name}" for each in node.names)}
    return found


BEHIND = {
    "sqlite3",
    "curewatch.logbook.Logbook",
    "curewatch.logbook.logbook",
    "curewatch.logbook.postgres.logbook",
    "curewatch.logbook.schema",
    "curewatch.logbook.sqlite_tables",
    "curewatch.logbook.store",
    "curewatch.logbook.tabled",
    "curewatch.logbook.tables",
    "curewatch.logbook.writer",
}


def outside(folder: Path) -> list[str]:
    """Modules outside the room that name what is behind the door."""
    files = [file for file in sorted(folder.rglob("*.py")) if ROOM not in file.parents]
    return [f"{file.name}: {name}" for file in files for name in sorted(named(file) & BEHIND)]


@pytest.mark.long
def test_nobody_outside_the_room_names_the_store(tmp_path: Path) -> None:
    """Commands, daemon and record know the port and the door; nobody opens SQLite by its path."""
    assert len(list(SOURCE.rglob("*.py"))) > 200
    assert outside(SOURCE) == []
    (tmp_path / "peeping.py").write_text(
        "def f():\n    import sqlite3\n    from curewatch.logbook import Logbook\n"
    )
    assert outside(tmp_path) == ["peeping.py: curewatch.logbook.Logbook", "peeping.py: sqlite3"]


@pytest.mark.long
def test_the_door_lets_go_of_no_lock(tmp_path: Path) -> None:
    """Whoever has a logbook open, and asks for it again, keeps its log beside it when others end."""
    path = tmp_path / "logbook.sqlite"
    told = f"with open_logbook({str(path)!r}) as one: one.write(Entry('note', {{}}, 1.0))"
    Logbook(path).close()
    with Logbook(path, read_only=True) as reading:
        for count in (1, 2):
            open_logbook(path, read_only=True).close()
            subprocess.run([sys.executable, "-c", f"from curewatch.logbook import *\n{told}"], check=True)
            assert path.with_name("logbook.sqlite-shm").exists()
            assert len(reading.entries()) == count


@pytest.mark.parametrize("store", [Logbook, PostgresLogbook])
def test_both_stores_fill_the_port(store: type) -> None:
    """Every member of the port is there, with the same arguments as far as a type checker can say."""
    members = {name for name in vars(LogbookStore) if not name.startswith("_")} - {"path", "sealed_here"}
    assert len(members) > 25
    assert {name for name in members if not callable(getattr(store, name, None))} == set()


def test_an_address_of_another_store_is_refused_in_one_sentence(tmp_path: Path) -> None:
    """And no file of that name appears."""
    with pytest.raises(UsageError, match=r"found an address, postgresql. Use a file that has it"):
        open_logbook("postgresql://127.0.0.1/shed")
    with open_logbook(tmp_path / "logbook.sqlite") as opened:
        assert opened.head().block == 0
        assert opened.size() > 0
