"""A shed with its own daemon sends its closed blocks to a fleet; a fork or a mix-up rings at both ends."""

import random
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec
import pytest

from curewatch.advice.alert.alerts import none_active, step
from curewatch.clock import Instant, SystemClock
from curewatch.configuration import Configuration, load
from curewatch.errors import StoreFailed
from curewatch.fleet import boards, copying, listing, sending
from curewatch.fleet.copying import CopyAnswer, CopyIntake, trouble_of
from curewatch.fleet.envelope import seal_up
from curewatch.fleet.looker import Looks, WantedLook
from curewatch.fleet.plan import BrokerHosts, CopyPlan, FleetPlan
from curewatch.fleet.sending import ASK_EVERY, PATIENCE, Sending
from curewatch.logbook import Logbook, keys, open_logbook
from curewatch.logbook.keys import change_key, fingerprint, known_key
from curewatch.logbook.sealing import seal
from curewatch.readings import Reading
from curewatch.shed.look import Look
from tests.database import DatabaseServer

NOW = 1_795_640_400.0
HOUR = 3600.0


def grow(logbook: Logbook, blocks: int, at: float, warmth: float = 290.0) -> None:
    """So many closed blocks more, each sealed, and one that is open."""
    for number in range(blocks):
        stamps = [at + 60 * number + n for n in range(5)]
        logbook.append([Reading("bench", one, one + 0.5, warmth, 0.6) for one in stamps])
        seal(logbook, reason="day", at=stamps[-1] + 1)
        logbook.close_block()
    logbook.append([Reading("bench", at + 60 * blocks + 9, at + 60 * blocks + 9, warmth, 0.6)])


class Pair:
    """A shed and its fleet, with nothing between them but bytes."""

    def __init__(self, shed: Path, copy: Path, name: str = "hull", pinned: str = "") -> None:
        self.home, self.copy = Logbook(shed), Logbook(copy, passing=True)
        self.name = name
        self.intake = CopyIntake(name, pinned or known_key(self.home), lambda: self.copy)
        self.sending = Sending(name, self.home)
        self.monotonic = 1000.0
        self.ahead = 0.0  # the shed's clock

    def exchange(self, times: int = 30, lost: Callable[[int], bool] = lambda _: False) -> CopyAnswer | None:
        """So many turns of five seconds; the last answer."""
        answer = None
        for turn in range(times):
            self.monotonic += 5.0
            here = Instant(NOW + self.monotonic + self.ahead, self.monotonic)
            sent = self.sending.due(here)
            if sent is not None:
                answer = self.intake.answer(sent, NOW + self.monotonic)
                if not lost(turn):
                    self.sending.answered(answer, here)
        return answer

    @property
    def rings_here(self) -> str:
        """The alert that the shed's own look raises, by its meaning."""
        look = Look(self.home, Configuration(), NOW + self.monotonic, active=none_active())
        state, _ = step(none_active(), look.signals, NOW + self.monotonic)
        found = [alert.meaning for key, alert in state.items() if key.kind == "copy-refused"]
        return found[0] if found else ""

    @property
    def rings_there(self) -> str:
        found = trouble_of(self.copy)
        return found[0].code if found else ""

    def close(self) -> None:
        self.home.close()
        self.copy.close()


@pytest.fixture
def pair(tmp_path: Path) -> Iterator[Pair]:
    """A shed of eight closed blocks, and an empty copy."""
    with Logbook(tmp_path / "home.sqlite") as logbook:
        grow(logbook, 4, NOW)
    made = Pair(tmp_path / "home.sqlite", tmp_path / "copy.sqlite")
    yield made
    made.close()


def test_every_closed_block_is_kept_as_it_came(pair: Pair) -> None:
    """Heads equal byte for byte; answers that are lost, repeats and later blocks change nothing."""
    dice = random.Random(7)
    pair.exchange(900, lost=lambda _: dice.random() < 0.4)
    assert len(pair.home.faces()) == 9
    assert pair.copy.faces() == pair.home.faces()[:-1]
    grow(pair.home, 2, NOW + HOUR)
    pair.exchange(300)
    assert pair.copy.faces() == pair.home.faces()[:-1]
    assert pair.copy.block_bytes(12) == pair.home.block_bytes(12)
    assert (pair.rings_here, pair.rings_there) == ("", "")
    assert pair.copy.verify().blocks == 12
    assert (pair.intake.kept, pair.intake.refused) == (12, 0)


@pytest.mark.long
def test_a_fork_rings_at_both_ends_and_nothing_is_merged(pair: Pair, tmp_path: Path) -> None:
    """Two machines with one shed's key and logbook go on in two ways; both hear of it, also the first."""
    pair.exchange()
    for kind in ("", ".key"):
        shutil.copy(tmp_path / f"home.sqlite{kind}", tmp_path / f"twin.sqlite{kind}")
    grow(pair.home, 1, NOW + HOUR)
    pair.exchange()
    twin = Pair(tmp_path / "twin.sqlite", tmp_path / "copy.sqlite")
    grow(twin.home, 1, NOW + HOUR, warmth=295.0)
    twin.monotonic = pair.monotonic
    twin.exchange()
    assert twin.copy.faces() == pair.home.faces()[:-1]
    assert (twin.rings_here, twin.rings_there) == ("fork", "fork")
    pair.monotonic += ASK_EVERY
    pair.exchange()
    assert pair.rings_here == "fork"
    grow(pair.home, 1, NOW + 2 * HOUR)  # the chain that was here first goes on, and the alert stands
    pair.exchange()
    assert pair.copy.faces() == pair.home.faces()[:-1]
    assert (pair.rings_here, pair.rings_there) == ("fork", "fork")
    copying.settle(pair.copy)
    pair.monotonic += ASK_EVERY
    pair.exchange()
    assert (pair.rings_here, pair.rings_there) == ("", "")
    told = [one.payload["against"] for one in pair.home.entries("daemon") if one.payload["what"] == "copy"]
    assert told == ["fork", ""]
    twin.close()


def test_an_older_logbook_put_back_rings_before_it_forks(pair: Pair, tmp_path: Path) -> None:
    pair.home.copy(tmp_path / "older.sqlite")
    shutil.copy(tmp_path / "home.sqlite.key", tmp_path / "older.sqlite.key")
    grow(pair.home, 3, NOW + HOUR)
    pair.exchange()
    older = Pair(tmp_path / "older.sqlite", tmp_path / "copy.sqlite")
    older.monotonic = pair.monotonic
    older.exchange()
    assert (older.rings_here, older.rings_there) == ("older", "older")
    assert older.copy.faces() == pair.home.faces()[:-1]
    older.close()


@pytest.mark.parametrize("ahead", [3 * HOUR, -3 * HOUR])
def test_clocks_that_are_hours_apart_are_told_to_both(pair: Pair, ahead: float) -> None:
    """Nothing is kept meanwhile; once they agree all is."""
    pair.ahead = ahead
    pair.exchange()
    assert (pair.rings_here, pair.rings_there, pair.copy.head().block) == ("clock", "clock", 0)
    pair.ahead = 0.0
    pair.exchange()
    assert (pair.rings_here, pair.rings_there) == ("", "")
    assert pair.copy.faces() == pair.home.faces()[:-1]


def test_tenants_mixed_up_are_refused_by_name(
    pair: Pair, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another shed under this name; this shed under another name; another's blocks signed anew."""
    with Logbook(tmp_path / "other.sqlite") as logbook:
        grow(logbook, 2, NOW)
    other = Pair(tmp_path / "other.sqlite", tmp_path / "copy.sqlite", pinned=known_key(pair.home))
    other.exchange()
    assert (other.rings_here, other.rings_there) == ("key", "key")
    astray = pair.intake.answer(seal_up(pair.home, "yard", 0, b"", NOW), NOW)
    assert astray.refusal is not None
    assert astray.refusal.told == "sent as the shed yard, come as hull"
    # whoever signs another's blocks anew: the seals inside are the other's
    stolen, theirs = CopyIntake("hull", known_key(other.home), lambda: pair.copy), keys.load_key
    monkeypatch.setattr(keys, "load_key", lambda _: theirs(keys.key_path(other.home.path)))
    monkeypatch.setattr(keys, "known_key", lambda _: "")
    answers = [
        stolen.answer(seal_up(pair.home, "hull", number, pair.home.block_bytes(number), NOW), NOW)
        for number in (1, 2)
    ]
    assert answers[0].kept  # it has no seal yet
    assert answers[1].refusal is not None
    assert answers[1].refusal.code == "key"
    assert pair.copy.head().block == 1
    other.close()


def test_a_changed_byte_of_an_envelope_is_refused(pair: Pair) -> None:
    """Wherever it is; as it was it is kept."""
    sent = seal_up(pair.home, "hull", 1, pair.home.block_bytes(1), NOW)
    for place in range(0, len(sent), 7):
        spoilt = bytearray(sent)
        spoilt[place] ^= 0x01
        answer = pair.intake.answer(bytes(spoilt), NOW)
        assert answer.refusal is not None
        assert (answer.kept, pair.copy.head().block) == (False, 0)
    assert pair.intake.answer(sent[:-1], NOW).refusal is not None
    assert pair.intake.answer(b"", NOW).refusal is not None
    assert pair.intake.answer(sent, NOW).kept


def test_a_changed_key_is_followed_and_a_lost_one_is_not(pair: Pair, tmp_path: Path) -> None:
    """Blocks from before the change, too, though they come signed with the new key."""
    first = known_key(pair.home)
    change_key(pair.home, NOW + 300)
    grow(pair.home, 1, NOW + HOUR)
    pair.exchange()
    assert pair.copy.faces() == pair.home.faces()[:-1]
    (tmp_path / "home.sqlite.key").unlink()
    change_key(pair.home, NOW + 2 * HOUR, lost=True)
    grow(pair.home, 1, NOW + 3 * HOUR)
    pair.monotonic += ASK_EVERY
    pair.exchange()
    assert (pair.rings_here, pair.rings_there) == ("key", "key")
    assert pair.copy.head().block < pair.home.head().block - 1
    assert known_key(pair.home) != first
    told = fingerprint(known_key(pair.home))  # as the operator was told it
    pair.intake = CopyIntake("hull", told, lambda: pair.copy)
    pair.exchange()
    assert pair.rings_there == ""


def test_a_store_that_refuses_keeps_the_message_for_later(
    pair: Pair, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The error leaves; it is no answer."""
    sent = seal_up(pair.home, "hull", 1, pair.home.block_bytes(1), NOW)

    def away(*_: object) -> bool:
        raise StoreFailed("the database is away")

    with monkeypatch.context() as patched:
        patched.setattr(pair.copy, "take_block", away)
        with pytest.raises(StoreFailed):
            pair.intake.answer(sent, NOW)
    assert pair.intake.answer(sent, NOW).kept


def test_controls_that_merge_silently_are_found(
    pair: Pair, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the clock's check, and without the check of the key, the attacks above go in unseen."""
    sent = seal_up(pair.home, "hull", 1, pair.home.block_bytes(1), NOW + 3 * HOUR)
    monkeypatch.setattr(copying, "APART", 1e9)
    assert pair.intake.answer(sent, NOW).kept
    with Logbook(tmp_path / "other.sqlite") as other, Logbook(tmp_path / "second.sqlite") as copy:
        grow(other, 2, NOW)
        intake = CopyIntake("hull", known_key(pair.home), lambda: copy)
        monkeypatch.setattr(copying, "keys_of", lambda _pinned, one: (one.key,))
        assert intake.answer(seal_up(other, "hull", 1, other.block_bytes(1), NOW), NOW).kept


def test_a_pruned_block_is_not_sent_and_that_is_told(pair: Pair) -> None:
    pair.home.drop_bodies([1], sending.Entry(sending.EntryKind.DAEMON, {"what": "pruned"}, NOW))
    pair.exchange()
    assert pair.rings_here == "pruned"
    assert pair.copy.head().block == 0


@pytest.mark.long
def test_a_copy_in_a_database_is_the_same(pair: Pair, server: DatabaseServer, tmp_path: Path) -> None:
    """Heads, the refusal of a fork, the note of a look; and a list's code goes back to the shed."""
    place = server.address(tmp_path / "hull.address", "hull")
    with open_logbook(place) as copy:
        pair.intake = CopyIntake("hull", known_key(pair.home), lambda: copy)
        pair.exchange()
        assert copy.faces() == pair.home.faces()[:-1]
        for kind in ("", ".key"):
            shutil.copy(tmp_path / f"home.sqlite{kind}", tmp_path / f"twin.sqlite{kind}")
        grow(pair.home, 1, NOW + HOUR)
        pair.exchange()
        with Logbook(tmp_path / "twin.sqlite") as twin:
            grow(twin, 1, NOW + HOUR, warmth=295.0)
            number = copy.head().block
            answer = pair.intake.answer(seal_up(twin, "hull", number, twin.block_bytes(number), NOW), NOW)
        assert answer.refusal is not None
        assert answer.refusal.code == "fork"
        assert copy.faces() == pair.home.faces()[:-1]
        (tmp_path / "hull.toml").write_text(f'[logbook]\npath = "{place}"\n[sensors.bench]\nrole = "air"\n')
        sheds = {"hull": load(tmp_path / "hull.toml")}
        plan = FleetPlan(broker=BrokerHosts(hosts=("none",)), copies={"hull": CopyPlan(file="", key="")})
        looks = Looks(plan, sheds, "one")
        looks.look(WantedLook("hull", NOW), SystemClock())
        looks.close()
        (line,) = boards.fleet_document(boards.seen(sheds, NOW), NOW).sheds
        assert (line.verdict, line.ringing) == ("unknown", 1)
        assert copy.verify().blocks == copy.head().block
        listed, left = listing.listed(
            tmp_path / "heads.json", tmp_path / "fleet.toml", plan, sheds, authority=None, at=NOW
        )
        assert left == []
        pair.monotonic += ASK_EVERY
        pair.exchange()
        told = [one.payload for one in pair.home.entries("daemon") if one.payload["what"] == "listed"]
        assert [one["code"] for one in told] == [listed.code]


def test_a_message_waits_for_its_answer(pair: Pair) -> None:
    """And is asked for anew after some patience; an answer to another one says nothing."""
    now = Instant(NOW, 5000.0)
    sent = pair.sending.due(now)
    assert sent is not None
    assert pair.sending.due(now._replace(monotonic=5000.0 + PATIENCE / 2)) is None
    answer = pair.intake.answer(sent, NOW)
    pair.sending.answered(msgspec.structs.replace(answer, about="another"), now)
    assert pair.sending.due(now._replace(monotonic=5000.0 + PATIENCE / 2)) is None
    late = now._replace(monotonic=5001.0 + PATIENCE)
    assert pair.sending.due(late) is not None
    # a fleet that is slow is asked less and less often, so its answer is in time at last
    assert pair.sending.due(late._replace(monotonic=late.monotonic + 1.9 * PATIENCE)) is None
    assert pair.sending.due(late._replace(monotonic=late.monotonic + 2 * PATIENCE)) is not None
