"""What people of a group tell a daemon through its local socket, and what cannot be asked for."""

import grp
import json
import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from curewatch.clock import SystemClock
from curewatch.configuration import Configuration
from curewatch.configuration.shape import LogbookTable
from curewatch.daemon.edges import local_socket
from curewatch.daemon.edges.local_socket import LocalSocket
from curewatch.errors import StoreFailed, UsageError
from curewatch.logbook import Entry, EntryKind, Logbook, sealing
from curewatch.logbook.forwarded import ForwardedLogbook, answered, kept_by_another, socket_path
from curewatch.logbook.keys import signing_key
from curewatch.logbook.lock import InUse
from curewatch.logbook.stamping import date_newest
from curewatch.readings import Reading
from curewatch.worklog.opening import open_job
from tests.stamping_authority import StampingAuthority, serving

NOW = 1_795_600_000.0
NOTE = Entry(EntryKind.NOTE, {"text": "dry"}, NOW, job="rudder-cheek", key="one", recorded=NOW + 5)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    with Logbook(tmp_path / "l.sqlite") as logbook:
        logbook.append([Reading("bench", NOW, NOW, 285.0, 0.6)])
    return tmp_path / "l.sqlite"


@pytest.fixture
def listening(path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[LocalSocket]:
    monkeypatch.setattr(local_socket, "TURN", 0.02)  # no test waits for its end
    made = LocalSocket(path, SystemClock(), grp.getgrgid(os.getgid()).gr_name)
    made.open()
    made.start()
    yield made
    made.stop()
    assert not socket_path(path).exists()


def test_an_entry_comes_back_as_it_stands_and_only_once(path: Path, listening: LocalSocket) -> None:
    """With who told it; told again under its key it is the same; the chain holds."""
    with ForwardedLogbook(path) as told:
        stored = told.write(NOTE)
        assert told.write(NOTE) == stored
        assert (stored.payload["text"], stored.job, stored.recorded) == ("dry", "rudder-cheek", NOW + 5)
        assert stored.payload["user"]
        assert told.entries(EntryKind.NOTE) == [stored]
        told.append(entries=[Entry(EntryKind.ALERT, {"happening": "acknowledged"}, NOW)])
        assert len(told.entries()) == 2
        assert told.verify().head.entries == 2


def test_a_job_is_opened_once_through_the_service(path: Path, listening: LocalSocket) -> None:
    """The service adds who told it: that is no other opening, so no second name is tried."""
    with ForwardedLogbook(path) as told:
        for name, job in (("rudder-cheek", "rudder-cheek"), (None, "J2")):
            said = {"title": "new rudder cheek"}
            opened = open_job(told, Configuration(), said, happened=NOW, now=NOW, name=name)
            assert (opened.job, opened.payload["title"]) == (job, "new rudder cheek")
        assert len(told.entries(EntryKind.JOB_OPEN)) == 2


@pytest.mark.long
def test_a_seal_is_dated_by_who_made_it(path: Path, listening: LocalSocket, tmp_path: Path) -> None:
    """The service asks the authority; who asked for the seal reads whether it did."""
    harbour = StampingAuthority(tmp_path / "harbour")
    with ForwardedLogbook(path) as told:
        sealing.seal(told, reason="day", at=NOW)
        assert date_newest(told, None, None, NOW) == "the service did not have it dated"
        with serving(harbour.answer) as address:
            listening.kept = LogbookTable(stamp_authority=address, stamp_roots_file=harbour.roots)
            sealing.seal(told, reason="day", at=NOW + 5)
        assert date_newest(told, None, None, NOW) == ""


@pytest.mark.long
def test_a_seal_is_made_by_who_has_the_key(path: Path, listening: LocalSocket) -> None:
    """The code stands in the logbook, and proves."""
    with ForwardedLogbook(path) as told:
        made = sealing.seal(told, reason="job-close", at=NOW)
    with Logbook(path) as logbook:
        assert sealing.prove(logbook, made.code).code == made.code
        assert logbook.entries(EntryKind.SEAL)[0].job is None


@pytest.mark.few(2)
@pytest.mark.parametrize("kind", sorted({"prune", "salvage", "seal", "key", "daemon", "verdict", "anything"}))
def test_what_is_the_daemons_own_cannot_be_told(path: Path, listening: LocalSocket, kind: str) -> None:
    """An entry that would allow a hole, or sign something, is refused by its kind; nothing is stored."""
    with ForwardedLogbook(path) as told:
        with pytest.raises(UsageError, match="daemon's own"):
            told.write(Entry(kind, {"blocks": [[1, 1]]}, NOW))
        assert told.entries() == []


def test_readings_and_the_file_are_the_services(path: Path, listening: LocalSocket) -> None:
    """No reading can be made up, nothing pruned; the message names the user to be."""
    with ForwardedLogbook(path) as told:
        for forbidden in (
            lambda: told.append([Reading("bench", NOW, NOW, 300.0, 0.1)]),
            told.close_block,
            lambda: told.tell_rejections(NOW),
            lambda: told.drop_bodies([1], NOTE),
            lambda: signing_key(told),
        ):
            with pytest.raises(StoreFailed, match=r"sudo -u \S+ curewatch"):
                forbidden()
        with pytest.raises(InUse):
            told.hold("curewatch watch", NOW)


@pytest.mark.few(3)
@pytest.mark.parametrize(
    "request_",
    [
        b"",
        b"[]",
        b"\xff\n",
        b'{"do":"drop"}',
        b'{"do":"append","entries":[{"kind":"note"}]}',
        b'{"do":"append","entries":[{"kind":"note","payload":[1],"at":0}]}',
        b'{"do":"append","entries":[{"kind":"note","payload":{},"at":1e400}]}',
        b'{"do":"append","entries":[{"kind":"note","payload":{},"at":"NaN"}]}',
        b'{"do":"seal","reason":"record","job":null}',
        b'{"do":"append","entries":' + b"[" * 5000,
    ],
)
def test_rubbish_is_answered_and_stores_nothing(path: Path, listening: LocalSocket, request_: bytes) -> None:
    """Each gets a reason, and the next request is served."""
    with socket.socket(socket.AF_UNIX) as far:
        far.connect(str(socket_path(path)))
        far.sendall(request_)
        far.shutdown(socket.SHUT_WR)
        said = b"".join(iter(lambda: far.recv(4096), b""))
    assert json.loads(said)["trouble"]
    with ForwardedLogbook(path) as told:
        assert told.entries() == []
        assert told.write(NOTE).number == 1


def test_who_is_not_of_the_group_is_turned_away(
    path: Path, listening: LocalSocket, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Even where the socket's file lets everybody in: the kernel says who connects."""
    monkeypatch.setattr(LocalSocket, "_user", lambda self, far: None)
    with ForwardedLogbook(path) as told, pytest.raises(StoreFailed, match="not of the group"):
        told.write(NOTE)


def test_a_daemon_that_is_gone_is_named(path: Path) -> None:
    """What was left by a kill answers nobody: the message says what to do."""
    with socket.socket(socket.AF_UNIX) as left:
        left.bind(str(socket_path(path)))
    with ForwardedLogbook(path) as told, pytest.raises(StoreFailed, match="Start the service"):
        told.write(NOTE)
    assert kept_by_another(path) is not os.access(path, os.W_OK)


def test_an_unknown_group_does_not_start(path: Path) -> None:
    with pytest.raises(UsageError, match="Use a group of this machine"):
        LocalSocket(path, SystemClock(), "no-such-group-here")


def test_the_answer_of_a_broken_store_is_a_reason(path: Path) -> None:
    """A refusal of the disk reaches who asked."""

    def refuse(reason: str) -> None:
        raise StoreFailed("the disk is full")

    with Logbook(path) as logbook:
        said = answered(logbook, b'{"do":"seal","reason":"day"}', "me", refuse)  # type: ignore[arg-type]
    assert json.loads(said) == {"trouble": "the disk is full", "kind": "StoreFailed"}
