"""A configuration that was changed while the daemon runs is read again, once it is whole."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.clock import ManualClock
from curewatch.daemon import loop
from curewatch.daemon.changed_file import EVERY, ChangedFile
from curewatch.daemon.edges.process import ServiceManager
from curewatch.daemon.events import Show
from curewatch.daemon.loop import Daemon

START = 1_790_000_000.0


class Watched:
    """A file, and whoever looks at it every five seconds."""

    def __init__(self, file: Path) -> None:
        self.file, self._now = file, 0.0
        self.watch = ChangedFile(file, 0.0)

    def look(self) -> bool:
        self._now += EVERY
        return self.watch.look(self._now)

    def write(self, text: str, at: int) -> None:
        """As an editor does: a new file in the place of the old; ``at`` is when it was written. [s]"""
        new = self.file.with_suffix(".new")
        new.write_text(text)
        os.utime(new, (at, at))
        new.replace(self.file)


@pytest.fixture
def watched(tmp_path: Path) -> Watched:
    file = tmp_path / "curewatch.toml"
    file.write_text("one")
    return Watched(file)


def test_a_file_is_another_when_two_looks_agree(watched: Watched) -> None:
    """Left alone it is never another; changed, it is one at the second look, and once."""
    assert [watched.look() for _ in range(3)] == [False] * 3
    watched.write("two", 1)
    assert [watched.look(), watched.look()] == [False, True]
    watched.watch.taken()
    assert [watched.look() for _ in range(3)] == [False] * 3


def test_a_file_that_is_still_written_to_is_waited_for(watched: Watched) -> None:
    """Longer at each look; read when it stays as it is."""
    found = []
    for length in range(4):
        watched.write("two" * length, 1)
        found.append(watched.look())
    assert found == [False] * 4
    assert watched.look()


def test_a_file_that_is_away_is_no_other_one(watched: Watched) -> None:
    """Nor is the same file that came back; a new one is."""
    aside = watched.file.rename(watched.file.with_suffix(".aside"))
    assert [watched.look() for _ in range(3)] == [False] * 3
    aside.rename(watched.file)
    assert [watched.look() for _ in range(3)] == [False] * 3
    watched.file.unlink()
    watched.look()
    watched.write("one", 2)
    assert [watched.look(), watched.look()] == [False, True]


def test_nothing_is_looked_at_before_its_time(watched: Watched) -> None:
    """A turn of the loop is a tenth of a second; and where there is no file, nothing is read."""
    watched.write("two", 1)
    assert not any(watched.watch.look(0.1 * turn) for turn in range(50))
    assert not any(ChangedFile(None, 0.0).look(EVERY * turn) for turn in range(3))


class Shed:
    """A daemon without sources over a file, and what it said."""

    def __init__(self, folder: Path) -> None:
        self.file = folder / "curewatch.toml"
        self.file.write_text(logbook_in(folder))
        self.said: list[str] = []
        self.clock = ManualClock(START, 1000.0)
        self.daemon = Daemon(configuration.load(self.file), clock=self.clock, show=self._show)
        self.keeper = self.daemon.keepers[""]
        self.keeper.actor.think = lambda at, reason: ()

    def _show(self, line: Show) -> None:
        self.said.append(line.text)

    def half_a_minute(self) -> list[str]:
        """What is said of the configuration meanwhile."""
        self.said.clear()
        for _ in range(6):
            self.clock.advance(EVERY)
            self.daemon._turn(ServiceManager({}))
        return [line for line in self.said if "configuration" in line]


def logbook_in(folder: Path) -> str:
    return f"[logbook]\npath = {str(folder / 'logbook.sqlite')!r}\n"


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shed]:
    monkeypatch.setattr(loop, "TURN", 0.0)
    made = Shed(tmp_path)
    yield made
    made.keeper.logbook.close()


def test_the_daemon_takes_what_was_changed_and_says_so(shed: Shed, tmp_path: Path) -> None:
    """Once, and nothing of a file left alone."""
    assert shed.half_a_minute() == []
    shed.file.write_text(f'[shed]\nname = "North Shed"\n{logbook_in(tmp_path)}')
    assert shed.half_a_minute() == ["configuration read again"]
    assert shed.keeper.configuration.shed.name == "North Shed"


@pytest.mark.parametrize(
    ("settings", "words"), [("[shed]\nnam = 3", "line 2"), (logbook_in(Path("other")), "logbook.path")]
)
def test_what_cannot_be_taken_is_said_once(shed: Shed, tmp_path: Path, settings: str, words: str) -> None:
    """A mistake, or what needs a restart: the old configuration stays, until a good one comes."""
    shed.file.write_text(settings)
    (refusal,) = shed.half_a_minute()
    assert "the old one stays" in refusal
    assert words in refusal
    shed.file.write_text(f'[shed]\nname = "North Shed"\n{logbook_in(tmp_path)}')
    assert shed.half_a_minute() == ["configuration read again"]
