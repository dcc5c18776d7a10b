"""Calamity: the connection to the database is lost at any message of a commit, also at COMMIT's answer."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple
from uuid import uuid4

import pytest

from curewatch.errors import StoreFailed
from curewatch.logbook import Entry, EntryKind, LogbookStore, open_logbook
from curewatch.logbook.postgres import session
from curewatch.logbook.postgres.tables import PostgresTables
from curewatch.readings import Reading, Rejected
from tests.database import DatabaseServer
from tests.database_proxy import BreakingWire

pytestmark = pytest.mark.long
NOW = 1_795_640_400.0


class Scene(NamedTuple):
    """A server, the wire to it, and a folder."""

    server: DatabaseServer
    wire: BreakingWire
    folder: Path


@pytest.fixture
def scene(server: DatabaseServer, tmp_path: Path) -> Iterator[Scene]:
    made = BreakingWire(server.folder / uuid4().hex[:8], server.folder)
    yield Scene(server, made, tmp_path)
    made.close()


def batch(number: int) -> tuple[list[Reading], list[Entry], list[Rejected]]:
    """Three readings, a note without a key, and a rejection."""
    at = NOW + 600 * number
    readings = [Reading("hull", at + n, at + n + 0.3, 285.0 + n, 0.5) for n in range(3)]
    return readings, [Entry(EntryKind.NOTE, {"text": f"{number}"}, at)], [Rejected("range", b"raw", at)]


class Told:
    """What runs over a breaking wire ended with."""

    def __init__(self) -> None:
        self.broke: list[bytes] = []  # at which message, a run
        self.refused = 0
        self.lost: list[int] = []  # runs after which something acknowledged was missing
        self.twice: list[int] = []  # or there twice


def every_message(scene: Scene, how: str, told: Told) -> None:
    """Break at the first message of the second commit, at the next, and so on, until none is left."""
    for step in range(60):
        before = len(told.broke)
        run(scene, how, told, step)
        if len(told.broke) == before:
            return
    raise AssertionError("a commit has no end")


def run(scene: Scene, how: str, told: Told, step: int = 0, *, has: bytes = b"", away: bool = False) -> None:
    """Three commits, the wire breaks after the first; what is refused is offered again. Then count."""
    server, wire, tmp_path = scene
    shed = uuid4().hex
    through = tmp_path / f"{shed}.address"
    through.write_text(f"postgresql://saltmarsh@/sheds?host={wire.folder}&shed={shed}\n")

    def end_sessions() -> None:
        with server.connect() as owner:
            owner.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE usename = 'saltmarsh'"
            )

    def leave() -> None:
        wire.down = True

    with open_logbook(through) as logbook:
        for number in range(3):
            if number == 1:
                wire.arm(step, how, end_sessions if how == "do" else leave if away else None, has)
            _until_stored(logbook, wire, number, told)
    told.broke += wire.broke
    wire.arm(-1, "")
    count(server, tmp_path / f"{shed}.direct", shed, step, told)


def _until_stored(logbook: LogbookStore, wire: BreakingWire, number: int, told: Told) -> None:
    readings, entries, rejected = batch(number)
    for _ in range(5):
        try:
            logbook.append(readings, entries, rejected=rejected)
        except StoreFailed:
            told.refused += 1
            wire.down = False
        else:
            return
    raise AssertionError("it never went in again")


def count(server: DatabaseServer, place: Path, shed: str, step: int, told: Told) -> None:
    with open_logbook(server.address(place, shed), read_only=True) as logbook:
        assert logbook.verify().head.readings == len(logbook.series("hull").time)
        notes = Counter(one.payload["text"] for one in logbook.entries(EntryKind.NOTE))
        rejected = sum(one.times for one in logbook.rejected())
        if len(logbook.series("hull").time) < 9 or len(notes) < 3 or rejected < 3:
            told.lost.append(step)
        if len(logbook.series("hull").time) > 9 or max(notes.values()) > 1 or rejected > 3:
            told.twice.append(step)


@pytest.mark.parametrize("how", ["before", "behind", "do"])
def test_nothing_is_lost_or_stored_twice(scene: Scene, monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    """Wherever the wire breaks or the server ends the session; an answer that is guessed is found."""
    told = Told()
    every_message(scene, how, told)
    assert len(told.broke) >= 10
    run(scene, how, told, has=b"COMMIT")
    assert b"COMMIT" in told.broke[-1]
    assert (told.lost, told.twice) == ([], [])
    with monkeypatch.context() as guessing:
        guessing.setattr(PostgresTables, "_asked_whether_kept", lambda _: how == "before")
        run(scene, how, wrong := Told(), has=b"COMMIT")
    # before: taken for stored, and was not; behind: taken for refused, and was stored
    assert (len(wrong.lost), len(wrong.twice)) == {"before": (1, 0), "behind": (0, 1), "do": (0, 0)}[how]


def test_a_server_that_stays_away_is_asked_when_it_is_back(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The commit is refused; what is offered again is passed over if it was stored after all."""
    monkeypatch.setattr(session, "PATIENCE", 0.2)
    told = Told()
    for step in range(12):
        run(scene, "behind", told, step, away=True)
    run(scene, "behind", told, has=b"COMMIT", away=True)
    assert told.refused >= 8
    assert (told.lost, told.twice) == ([], [])
    with monkeypatch.context() as forgetting:
        never = property(lambda _: False, lambda *_: None)
        forgetting.setattr(PostgresTables, "kept_after_all", never, raising=False)
        run(scene, "behind", told, has=b"COMMIT", away=True)
    assert len(told.twice) == 1
