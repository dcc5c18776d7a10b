"""Closed blocks are carried to another store as bytes: the same chain there, or a refusal."""

import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken, UsageError
from curewatch.logbook import Entry, Logbook, chain, parcel, rows
from curewatch.logbook.retention import prune
from curewatch.logbook.sealing import check_seals
from curewatch.readings import Reading
from curewatch.units import DAY
from tests import record_world as world


@pytest.fixture(scope="module")
def origin(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shed's own logbook: a job of days, sealed, its last block closed."""
    path = tmp_path_factory.mktemp("shed") / "logbook.sqlite"
    world.fill(path, step=900.0)
    with Logbook(path) as logbook:
        logbook.close_block()
    return path


@pytest.fixture(scope="module")
def carried(origin: Path) -> list[bytes]:
    with Logbook(origin, read_only=True) as logbook:
        return [logbook.block_bytes(number) for number in range(1, logbook.head().block + 1)]


@pytest.fixture
def copy(tmp_path: Path) -> Iterator[Logbook]:
    with Logbook(tmp_path / "copy.sqlite") as logbook:
        yield logbook


def test_the_copy_has_the_same_chain_and_the_same_answers(origin: Path, carried: list[bytes], copy: Logbook):
    """Heads equal byte for byte; readings, hours, entries and seals as at home; twice is harmless."""
    assert [copy.take_block(one) for one in carried] == [True] * len(carried)
    assert [copy.take_block(one) for one in carried] == [False] * len(carried)
    with Logbook(origin, read_only=True) as home:
        assert copy.faces() == home.faces()
        assert copy.verify() == home.verify()
        assert copy.entries() == home.entries()
        assert copy.sensors() == home.sensors()
        assert copy.latest() == home.latest()
        for name in home.sensors():
            for ours, theirs in zip(copy.series(name)[:4], home.series(name)[:4], strict=True):
                assert (ours == theirs).all()
            warm = [logbook.hourly(name).quantities["temperature"].mean for logbook in (copy, home)]
            assert (warm[0] == warm[1]).all()
        assert [one.code for one in check_seals(copy).seals] == [one.code for one in check_seals(home).seals]
        again = list(world.readings(world.OPENED - DAY, world.OPENED - DAY + 3600.0, 900.0))
    assert copy.append(again) == 0  # readings that came to both


def test_a_changed_byte_is_refused_or_changes_nothing(carried: list[bytes], copy: Logbook):
    """One bit at four hundred places: what is taken all the same unpacks to the very same block."""
    whole, rejected = carried[0], 0
    chance = random.Random(5)
    for place in chance.sample(range(len(whole)), 400):
        spoilt = bytearray(whole)
        spoilt[place] ^= 1 << chance.randrange(8)
        try:
            found = parcel.unpack(bytes(spoilt))
        except RecordBroken:
            rejected += 1
            continue
        sound = parcel.unpack(whole)
        same = (found.head, found.rows.tolist()) == (sound.head, sound.rows.tolist())
        if not same:  # another head: whoever knows the chain sees it
            assert found.head != sound.head
            assert copy.take_block(whole) or copy.head().block == 1
            with pytest.raises(RecordBroken, match="forked"):
                copy.take_block(bytes(spoilt))
    assert rejected > 350


def test_rows_and_entries_packed_anew_are_refused(origin: Path, carried: list[bytes]):
    """Somebody who can write parcels changes a reading, leaves one out, or changes an entry."""
    sound = max(map(parcel.unpack, carried), key=lambda one: len(one.entries))
    lines = [one.line for one in sound.entries]
    assert len(lines) > 1
    with Logbook(origin, read_only=True) as home:
        tokens = home.tokens()
    warmer = sound.rows.copy()
    warmer["temperature"][3] += 1
    for rows_, told in (
        (warmer, lines),
        (sound.rows[:-1], lines),
        (sound.rows, [line.replace('"kind":"', '"kind":"x') for line in lines]),
        (sound.rows, lines[::-1]),
    ):
        forged = parcel.pack(sound.face, tokens, told, rows.pack(rows_, sound.face.form))
        assert forged not in carried
        with pytest.raises(RecordBroken, match=r"carried block \d"):
            parcel.unpack(forged)
    other = {number: f"{word}-2" for number, word in tokens.items()}
    with pytest.raises(RecordBroken, match=r"carried block \d"):
        parcel.unpack(parcel.pack(sound.face, other, lines, sound.body))


@pytest.mark.parametrize("cut", [0, 1, 60, 400, -1])
def test_half_a_block_is_refused(carried: list[bytes], copy: Logbook, cut: int):
    """And nothing of it is kept."""
    with pytest.raises(RecordBroken, match="carried block"):
        copy.take_block(carried[0][:cut])
    assert copy.head().block == 0


def test_a_block_too_early_and_a_fork_are_refused(carried: list[bytes], copy: Logbook, tmp_path: Path):
    """Missing before it; another history from the start; lines of the copy's own."""
    with pytest.raises(RecordBroken, match="block 1, the next"):
        copy.take_block(carried[1])
    foreign = []
    with Logbook(tmp_path / "other.sqlite") as other:
        for number in (1, 2):
            at = world.OPENED + number
            other.append([Reading("bench", at, at, 290.0, 0.5)])
            other.close_block()
            foreign.append(other.block_bytes(number))
    copy.take_block(carried[0])
    head = copy.head()
    for one in foreign:
        with pytest.raises(RecordBroken, match="block 1: the chain has forked"):
            copy.take_block(one)
    copy.append([Reading("bench", world.OPENED + 9 * DAY, world.OPENED + 9 * DAY, 290.0, 0.5)])
    with pytest.raises(RecordBroken, match=r"block 2: the chain has forked.*lines of its own"):
        copy.take_block(carried[1])
    assert copy.head().block == head.block + 1
    assert copy.verify().head == copy.head()


@pytest.mark.long
def test_a_few_bytes_do_not_become_gigabytes(carried: list[bytes]):
    """A body that says it has four thousand million rows is refused before it is unpacked."""
    with pytest.raises(ValueError, match="not as long as they say"):
        rows.unpack(b"\xff\xff\xff\xff" + rows.zlib.compress(bytes(50_000_000)), 1)
    with pytest.raises(ValueError, match="not as long as they say"):
        rows.unpack(b"\x01\x00\x00\x00" + rows.zlib.compress(bytes(50_000_000)), 1)


def test_an_open_and_a_pruned_block_are_not_carried(tmp_path: Path):
    """In one sentence, each with its reason."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(list(world.readings(world.OPENED, world.OPENED + DAY)))
        prune(logbook, world.OPENED + DAY / 2, at=world.OPENED + 2 * DAY)
        last = logbook.head().block
        for number, reason in ((1, "pruned"), (last, "open"), (last + 1, "not there"), (0, "not there")):
            with pytest.raises(UsageError, match=f"block {number} cannot be carried: .*{reason}"):
                logbook.block_bytes(number)


def test_a_block_of_entries_alone_is_carried(tmp_path: Path, copy: Logbook):
    """A block without readings has a body of no rows."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.write(Entry("note", {"text": "cold"}, world.OPENED, job="K9", key="k"))
        logbook.close_block()
        assert copy.take_block(logbook.block_bytes(1))
        assert copy.head() == logbook.head()
        assert copy.faces()[0][0].readings_digest == chain.sha256().hexdigest()
    assert copy.verify().head == copy.head()
