"""The signing key: shown, kept apart, put back, changed, lost; and never made anew unasked."""

import shutil
import stat
from pathlib import Path

import pytest
from msgspec.structs import replace

from curewatch.errors import RecordBroken, StoreFailed, UsageError
from curewatch.logbook import Entry, EntryKind, Logbook, keys
from curewatch.logbook.backup import backup
from curewatch.logbook.sealing import check_seals, check_signed, go_on, note_path, prove, seal, seal_of
from curewatch.readings import Reading

START = 1_795_640_400.0


@pytest.fixture
def logbook(tmp_path: Path):
    with Logbook(tmp_path / "logbook.sqlite") as opened:
        opened.append([Reading("bench", START + n, START + n, 285.0, 0.8) for n in range(9)])
        yield opened


@pytest.fixture
def code(logbook: Logbook) -> str:
    """Of the first seal."""
    return seal(logbook, reason="day", at=START + 60).code


def test_a_changed_key_is_signed_by_the_old_one(logbook: Logbook, code: str):
    """Every seal of both holds, and the old code still proves."""
    old = keys.own_key(logbook.path)
    keys.change_key(logbook, START + 70)
    made = seal(logbook, reason="day", at=START + 80)
    (change,) = check_seals(logbook).changes
    assert (change.old, change.new, change.reason) == (old, keys.own_key(logbook.path), "changed")
    assert made.public_key == change.new != old
    assert prove(logbook, code).public_key == old
    assert stat.S_IMODE(keys.key_path(logbook.path).stat().st_mode) == 0o600


def test_a_lost_key_bricks_nothing(logbook: Logbook, code: str):
    """Refused until it is asked for; then told, unsigned by the old, and everything before holds."""
    keys.key_path(logbook.path).unlink()
    with pytest.raises(StoreFailed, match=r"--restore FILE.*--lost"):
        seal(logbook, reason="day", at=START + 70)
    assert not keys.key_path(logbook.path).exists()
    keys.change_key(logbook, START + 75, lost=True)
    seal(logbook, reason="day", at=START + 80)
    assert [one.reason for one in check_seals(logbook).changes] == ["lost"]
    assert prove(logbook, code)


def test_a_key_that_is_there_is_not_lost(logbook: Logbook, code: str):
    """Else whoever can use the key could hide that he signed."""
    with pytest.raises(UsageError, match="not lost"):
        keys.change_key(logbook, START + 70, lost=True)
    assert not logbook.entries(EntryKind.KEY)


@pytest.mark.parametrize("at", ["before the entry", "after the entry"])
def test_a_change_that_was_cut_short_ends_with_one_key(logbook: Logbook, code: str, at: str, monkeypatch):
    """Killed on the way: before the chain was told the old key stands, after it the new one."""

    class KilledError(Exception): ...

    def killed(*_: object) -> None:
        raise KilledError

    with monkeypatch.context() as patched:
        patched.setattr(*((logbook, "write") if at == "before the entry" else (Path, "replace")), killed)
        with pytest.raises(KilledError):
            keys.change_key(logbook, START + 70)
    made = seal(logbook, reason="day", at=START + 80)
    assert len(check_seals(logbook).changes) == (at == "after the entry")
    assert made.public_key == keys.own_key(logbook.path)


def test_a_copy_apart_is_put_back(logbook: Logbook, code: str, tmp_path: Path):
    """For its owner alone, on another disk, and the same key again."""
    with pytest.raises(UsageError, match="another disk"):
        keys.back_up_key(logbook, tmp_path / "copy")
    (tmp_path / "stick").mkdir()
    copy = tmp_path / "stick" / "copy"
    keys.back_up_key(logbook, copy)
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    with pytest.raises(UsageError, match="new name"):
        keys.back_up_key(logbook, copy)
    keys.key_path(logbook.path).unlink()
    keys.restore_key(logbook, copy)
    seal(logbook, reason="day", at=START + 70)
    assert not check_seals(logbook).changes


def test_the_key_of_another_logbook_is_not_put_back(logbook: Logbook, code: str, tmp_path: Path):
    """Named by both fingerprints."""
    with Logbook(tmp_path / "other.sqlite") as other:
        seal(other, reason="day", at=START)
    keys.key_path(logbook.path).unlink()
    with pytest.raises(UsageError, match="with which this logbook was sealed"):
        keys.restore_key(logbook, keys.key_path(other.path))
    shutil.copy(keys.key_path(other.path), keys.key_path(logbook.path))
    with pytest.raises(StoreFailed, match="was sealed with"):
        seal(logbook, reason="day", at=START + 70)


def test_a_restored_copy_does_not_seal_with_a_new_key(logbook: Logbook, code: str, tmp_path: Path):
    """A backup has no key: it is asked for, and none is made."""
    copy = backup(logbook, tmp_path / "copy.sqlite")
    with Logbook(copy) as restored:
        for _ in range(2):
            with pytest.raises(StoreFailed, match="is not there"):
                seal(restored, reason="day", at=START + 70)
        assert not keys.key_path(copy).exists()


def test_an_older_copy_does_not_go_on_unseen(logbook: Logbook, code: str, tmp_path: Path):
    """Put in the newer one's place, with the key: refused; asked for, the chain is told what is missing."""
    copy = backup(logbook, tmp_path / "copy.sqlite")
    later = seal(logbook, reason="day", at=START + 70)
    path = logbook.path
    logbook.close()
    for beside in path.parent.glob("logbook.sqlite-*"):
        beside.unlink()
    copy.replace(path)
    with Logbook(path) as restored:
        with pytest.raises(StoreFailed, match=f"without the seal {later.code}.*--restored"):
            seal(restored, reason="day", at=START + 80)
        told = go_on(restored, START + 90)
        assert told is not None
        assert told.payload == {"missing": later.code}
        assert seal(restored, reason="day", at=START + 90)
        assert go_on(restored, START + 91) is None
        note_path(path).write_bytes(b"\xff\n")
        assert seal(restored, reason="day", at=START + 95)


@pytest.mark.parametrize(
    ("part", "value"),
    [
        ("signature", "00" * 64),
        ("old_signature", "00" * 64),
        ("old_signature", ""),
        ("more", "words"),
        ("text", "w"),
    ],
)
def test_a_change_that_was_forged_does_not_hold(
    logbook: Logbook, code: str, tmp_path: Path, part: str, value: str
):
    """The genuine change with one part of it changed, written into another logbook of the same key."""
    shutil.copy(keys.key_path(logbook.path), tmp_path / "twin.sqlite.key")
    told = keys.change_key(logbook, START + 70)
    with Logbook(tmp_path / "twin.sqlite") as twin:
        seal(twin, reason="day", at=START + 60)
        twin.write(Entry(EntryKind.KEY, {**told.payload, part: value}, told.at))
        with pytest.raises(RecordBroken, match=r"entry 2 \(key\)"):
            check_seals(twin)


def test_a_change_of_key_that_was_lost_is_told_between_its_neighbours(logbook: Logbook, code: str):
    """Only where an entry between the two seals was lost: neither of them, and not without a word."""
    keys.change_key(logbook, START + 70)
    seal(logbook, reason="day", at=START + 80)
    first, change, second = logbook.entries((EntryKind.SEAL, EntryKind.KEY))

    def checked(*lost: int):
        return check_signed([first, second], lambda one: one.head, frozenset(lost))

    old, new = (seal_of(each).public_key for each in (first, second))
    (told,) = checked(change.number).changes
    assert (told.old, told.new, told.reason) == (old, new, "lost")
    assert checked(change.number).key == new
    for lost in ((), (first.number,), (second.number,)):
        with pytest.raises(RecordBroken, match=f"key {old}"):
            checked(*lost)


def test_a_change_after_another_key_does_not_hold(logbook: Logbook, code: str):
    """The genuine change, where the change before it is missing."""
    keys.change_key(logbook, START + 70)
    keys.change_key(logbook, START + 75)
    first, _, second = logbook.entries((EntryKind.SEAL, EntryKind.KEY))
    with pytest.raises(RecordBroken, match=r"entry 3 \(key\)"):
        check_signed([first, second], lambda one: one.head)


def test_a_seal_is_of_its_head_and_of_a_block_before_its_own(logbook: Logbook, code: str):
    """And its entry tells no more than the seal itself does."""
    (stored,) = logbook.entries(EntryKind.SEAL)
    one = seal_of(stored)
    assert (one.block, stored.block) == (1, 2)
    with pytest.raises(RecordBroken, match="head"):
        check_signed([stored], lambda _: "0" * 64)
    for block in (1, 0):
        with pytest.raises(RecordBroken, match=r"entry 1 \(seal\)"):
            seal_of(replace(stored, block=block))
    for told in ({"code": "x"}, {"reason": "record"}, {"more": "words"}):
        with pytest.raises(RecordBroken, match=r"entry 1 \(seal\)"):
            seal_of(replace(stored, payload={**stored.payload, **told}))
    with pytest.raises(RecordBroken, match=r"entry 1 \(seal\)"):
        seal_of(replace(stored, at=stored.at + 1.0))


def test_the_last_seal_is_of_the_key_beside_the_logbook(logbook: Logbook, code: str, tmp_path: Path):
    """Another one there is named; without one nothing is missing, for whoever only looks."""
    path = keys.key_path(logbook.path)
    with Logbook(tmp_path / "other.sqlite") as other:
        seal(other, reason="day", at=START + 60)
        shutil.copy(keys.key_path(other.path), path)
    with pytest.raises(RecordBroken, match=r"entry 1 \(seal\).*beside the logbook"):
        check_seals(logbook)
    path.unlink()
    assert [one.code for one in check_seals(logbook).seals] == [code]
