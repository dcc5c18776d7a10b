"""Attack: another key is slipped in, so that a stranger's seals are taken for the owner's.

A change of key is an entry: signed by both keys, or told as lost. The attacker may write the logbook's
file and has a key of his own; or he holds the old key and goes on with it.
"""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import x25519
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat, PublicFormat

from curewatch.clock import iso_utc
from curewatch.errors import CurewatchError, RecordBroken, StoreFailed
from curewatch.logbook import Entry, EntryKind, Logbook, keys, sealing
from curewatch.record import verification, writing
from curewatch.record.examination import verify
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import ATTACKERS, Sealed, attacked, own_copy, shell_check

LATER = world.OPENED + 4.5 * DAY


@pytest.fixture
def logbook(sealed: Sealed, tmp_path: Path):
    """The logbook before its record was written, with its key."""
    with Logbook(own_copy(sealed, tmp_path)) as opened:
        yield opened


def forged(logbook: Logbook, reason: str, old_signature: str) -> Entry:
    """A change to the stranger's key, which he puts beside the logbook."""
    stranger = keys._new_key()
    known = keys.known_key(logbook)
    text = (
        f"curewatch key 1\nold {known}\nnew {keys.public_of(stranger)}\n"
        f"at {iso_utc(LATER)}\nreason {reason}\n"
    )
    if old_signature == "his own":
        old_signature = stranger.sign(text.encode()).hex()
    keys.key_path(logbook.path).unlink()
    keys._put(keys.key_path(logbook.path), stranger)
    payload = {
        "text": text,
        "signature": stranger.sign(text.encode()).hex(),
        "old_signature": old_signature,
    }
    return Entry(EntryKind.KEY, payload, LATER)


def no_seal_inside(entries: object, links: object, key: str) -> sealing.Signed:
    """Seals and keys among the entries are not looked at."""
    return sealing.Signed([], [], key)


FORGED = [("changed", "his own"), ("changed", "00" * 64), ("changed", ""), ("lost", "his own")]


@pytest.mark.long
@pytest.mark.parametrize(("reason", "old"), FORGED)
@pytest.mark.few(1)
def test_a_change_that_the_old_key_did_not_sign_is_refused(
    logbook: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reason: str, old: str
):
    """By logbook, record and shell; with the check of signatures taken out it holds."""
    logbook.write(forged(logbook, reason, old))
    with pytest.raises(RecordBroken, match=r"entry \d+ \(key\)"):
        sealing.check_seals(logbook)
    monkeypatch.setattr(writing, "check_seals", lambda logbook: None)
    folder = writing.write(logbook, world.JOB, tmp_path, at=LATER + 60, pdf=False).folder
    assert folder is not None
    with pytest.raises(RecordBroken, match=r"entry \d+ \(key\)"):
        verify(folder)
    said = shell_check(folder)
    assert (said.returncode, "(key)" in said.stdout) == (5, True), said.stdout
    monkeypatch.setattr(keys, "check_signature", lambda *_: None)  # the control: the defect put back
    if reason == "lost":  # a second thing finds it: a lost key signs nothing
        monkeypatch.setattr(verification, "_check_inner", no_seal_inside)
    assert verify(folder)


@pytest.mark.long
def test_a_key_called_lost_is_told_by_everything(logbook: Logbook, tmp_path: Path):
    """Nobody can refuse it: it may be true. Logbook, record and shell say that the old key did not sign."""
    before = sealing.seals(logbook)[-1]
    logbook.write(forged(logbook, "lost", ""))
    assert [one.reason for one in sealing.check_seals(logbook).changes] == ["lost"]
    folder = writing.write(logbook, world.JOB, tmp_path, at=LATER + 60, pdf=False).folder
    assert folder is not None
    assert [one.reason for one in verify(folder).key_changes] == ["lost"]
    said = shell_check(folder, before.code)
    assert "lost: the old key did not sign it" in said.stdout
    assert "a new key signs from here on; the old one was lost" in (folder / "record.html").read_text()
    with pytest.raises(RecordBroken, match=r"key\.pem"):
        verify(folder, key=before.public_key)


def test_the_owner_s_key_put_back_shows_the_stranger_s(logbook: Logbook, sealed: Sealed):
    """He compares with his own copy: the chain names a key that is not his."""
    logbook.write(forged(logbook, "lost", ""))
    shutil.copy(keys.key_path(sealed.logbook), keys.key_path(logbook.path))
    with pytest.raises(RecordBroken, match="which is beside the logbook"):
        sealing.check_seals(logbook)
    with pytest.raises(StoreFailed, match="was sealed with"):
        sealing.seal(logbook, reason="day", at=LATER + 60)


INNER = {"_check_inner": no_seal_inside}
UNCHECKED: dict[str, dict[str, Callable[..., Any]]] = {
    "the key's entry is left out": {"_check_choice": lambda *_: None, **INNER},  # each finds it
    "a seal of the old key after it": INNER,
}


@pytest.mark.long
@pytest.mark.parametrize("place", UNCHECKED)
@pytest.mark.few(1)
def test_a_seal_of_another_key_in_between_is_refused(
    logbook: Logbook, tmp_path: Path, monkeypatch, place: str
):
    """The change is told and left out of the record; or the old key goes on after it was changed."""
    old = keys.load_key(keys.key_path(logbook.path))
    keys.change_key(logbook, LATER)
    if place == "the key's entry is left out":
        shed_wide = tuple(kind for kind in verification.SHED_WIDE if kind != EntryKind.KEY)
        with monkeypatch.context() as patched:
            patched.setattr("curewatch.record.proof.SHED_WIDE", shed_wide)
            folder = writing.write(logbook, world.JOB, tmp_path, at=LATER + 60, pdf=False).folder
    else:
        head = logbook.close_block()
        text = (
            f"curewatch seal 2\nblock {head.block}\nhead {head.head}\nat {iso_utc(LATER + 1)}\n"
            f"reason day\nkey {keys.public_of(old)}\n"
        )
        made = sealing.parse(text, old.sign(text.encode()).hex())
        told = {"text": text, "signature": made.signature, "code": made.code, "reason": "day"}
        logbook.write(Entry(EntryKind.SEAL, told, LATER + 1))
        with pytest.raises(RecordBroken, match="key"):
            sealing.check_seals(logbook)
        keys.key_path(logbook.path).unlink()
        keys._put(keys.key_path(logbook.path), old)
        monkeypatch.setattr(writing, "check_seals", lambda logbook: None)
        folder = writing.write(logbook, world.JOB, tmp_path, at=LATER + 60, pdf=False).folder
    assert folder is not None
    with pytest.raises(RecordBroken):
        verify(folder)
    assert shell_check(folder).returncode == 5
    for step, without in UNCHECKED[place].items():  # the control
        with pytest.raises(RecordBroken):
            verify(folder)
        monkeypatch.setattr(verification, step, without)
    assert verify(folder)


def put_back(logbook: Logbook, copy: Path) -> None:
    """The copy of the first key takes the place of the one that followed it."""
    keys.change_key(logbook, LATER)
    keys.key_path(logbook.path).unlink()
    keys.restore_key(logbook, copy)


def beside_the_new_one(logbook: Logbook, copy: Path) -> None:
    keys.change_key(logbook, LATER)
    keys.restore_key(logbook, copy)


def put_there_by_hand(logbook: Logbook, copy: Path) -> None:
    keys.change_key(logbook, LATER)
    shutil.copy(copy, keys.key_path(logbook.path))
    sealing.seal(logbook, reason="day", at=LATER + 60)


def half_a_key(logbook: Logbook, copy: Path) -> None:
    keys.key_path(logbook.path).write_bytes(copy.read_bytes()[:60])
    sealing.seal(logbook, reason="day", at=LATER + 60)


def of_another_kind(logbook: Logbook, copy: Path) -> None:
    kind = x25519.X25519PrivateKey.generate()
    secret = kind.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    keys.key_path(logbook.path).write_bytes(secret)
    sealing.seal(logbook, reason="day", at=LATER + 60)


@pytest.mark.parametrize(
    "restored", [put_back, beside_the_new_one, put_there_by_hand, half_a_key, of_another_kind]
)
@pytest.mark.few(1)
def test_an_older_key_does_not_seal_again(
    logbook: Logbook, tmp_path: Path, restored: Callable[[Logbook, Path], None]
):
    """Nothing is sealed with it, and one sentence says why; the copy of the present key goes on."""
    (tmp_path / "stick").mkdir()
    keys.back_up_key(logbook, tmp_path / "stick" / "first")
    before = len(sealing.seals(logbook))
    with pytest.raises(CurewatchError):
        restored(logbook, tmp_path / "stick" / "first")
    assert len(sealing.seals(logbook)) == before


def words_before_it(pem: bytes) -> bytes:
    return b"of the owner\n" + pem


def words_behind_it(pem: bytes) -> bytes:
    return pem + b"# of the owner\n"


def other_line_ends(pem: bytes) -> bytes:
    return pem.replace(b"\n", b"\r\n")


def in_two_lines(pem: bytes) -> bytes:
    first, second, third = pem.splitlines(keepends=True)
    return first + second[:20] + b"\n" + second[20:] + third


def of_another_curve(pem: bytes) -> bytes:
    key = x25519.X25519PrivateKey.generate().public_key()
    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


@pytest.mark.parametrize(
    "bend", [words_before_it, words_behind_it, other_line_ends, in_two_lines, of_another_curve]
)
@pytest.mark.few(2)
def test_a_key_is_written_in_one_way(
    sealed: Sealed, folder: Path, few_tools: str, bend: Callable[[bytes], bytes]
):
    """Two tools may read two keys of one file. Program, shell and busybox refuse it."""
    change = {"key.pem": bend(sealed.files["key.pem"])}
    files = attacked(sealed, lambda _: change, ATTACKERS[2])
    with pytest.raises(RecordBroken, match=r"key\.pem"):
        verification.verify_files(files)
    shutil.copytree(sealed.folder, folder)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    for path in (None, few_tools):
        assert shell_check(folder, path=path).returncode == 5


@pytest.mark.long
@pytest.mark.parametrize("told", ["", " ", "0", "first half", "another"])
def test_a_part_of_a_key_is_not_the_key(sealed: Sealed, told: str):
    """Neither its beginning, nor nothing: each of these would fit a stranger's key as well."""
    public = verify(sealed.folder).seal.public_key
    assert verify(sealed.folder, key=keys.fingerprint(public).upper())
    half = {"first half": keys.fingerprint(public)[:19], "another": public[:-1] + "g"}.get(told, told)
    with pytest.raises(RecordBroken, match=r"key\.pem"):
        verify(sealed.folder, key=half)
