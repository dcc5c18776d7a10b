"""Attack: an entry that looks like a seal, not signed with the logbook's key, stands in the chain."""

from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from curewatch.cli.main import run
from curewatch.clock import iso_utc, utc_from_iso
from curewatch.errors import RecordBroken
from curewatch.logbook import Entry, EntryKind, Logbook, sealing
from curewatch.logbook.keys import key_path, load_key, signing_key
from curewatch.logbook.sealing import Seal, check_seals, parse, seals
from curewatch.record import examination, writing
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import Sealed, own_copy

STRANGER = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
LATER = world.OPENED + 5 * DAY


def signature_of_another_text(genuine: Seal, own: Ed25519PrivateKey) -> tuple[str, str]:
    """The logbook's own key, and a signature that it made of something else."""
    return genuine.text.replace("reason job-close", "reason day"), own.sign(b"something else").hex()


def signed_by_another_key(genuine: Seal, own: Ed25519PrivateKey) -> tuple[str, str]:
    """The logbook's own key is named; a stranger's key signed."""
    text = genuine.text.replace("reason job-close", "reason day")
    return text, STRANGER.sign(text.encode()).hex()


def no_signature(genuine: Seal, own: Ed25519PrivateKey) -> tuple[str, str]:
    """Letters that are no hexadecimal digits."""
    return genuine.text, "unsigned"


def another_key_that_names_itself(genuine: Seal, own: Ed25519PrivateKey) -> tuple[str, str]:
    """Whole in itself, but not of this logbook."""
    text = genuine.text.replace(genuine.public_key, STRANGER.public_key().public_bytes_raw().hex())
    return text, STRANGER.sign(text.encode()).hex()


UNSIGNED = [signature_of_another_text, signed_by_another_key, no_signature]


@pytest.fixture
def attacked(sealed: Sealed, tmp_path: Path) -> Path:
    """A copy of the demo's logbook with its key, for the attacker to write into."""
    path = own_copy(sealed, tmp_path)
    with Logbook(path) as logbook:
        logbook.close_block()
    return path


def forge(logbook: Logbook, attack, job: str | None = None) -> None:
    """Write the attack's text and signature down as a seal is written down."""
    text, signature = attack(seals(logbook)[-1], load_key(key_path(logbook.path)))
    made = parse(text, signature)
    payload = {"text": text, "signature": signature, "code": made.code, "reason": made.reason}
    logbook.write(Entry(EntryKind.SEAL, payload, utc_from_iso(made.at), job=job))
    logbook.verify()  # the chain holds: only the seal is wrong


@pytest.mark.parametrize("attack", [*UNSIGNED, another_key_that_names_itself])
def test_a_forged_seal_is_found_in_the_logbook(attacked: Path, capsys: pytest.CaptureFixture[str], attack):
    """The library and `logbook verify` refuse it, and name the seal and the key that was expected."""
    with Logbook(attacked) as logbook:
        own = check_seals(logbook).seals[0].public_key
        forge(logbook, attack)
        with pytest.raises(RecordBroken, match=rf"seal of block \d+ .*key {own}"):
            check_seals(logbook)
    config = attacked.with_name("curewatch.toml")
    config.write_text(f'[logbook]\npath = "{attacked}"\n')
    with pytest.raises(SystemExit) as left:
        run(["logbook", "verify", "--config", str(config)])
    assert left.value.code == 5
    assert "seal of block" in capsys.readouterr().err


@pytest.mark.parametrize("attack", [*UNSIGNED, another_key_that_names_itself])
def test_no_record_is_made_of_a_logbook_with_a_forged_seal(attacked: Path, tmp_path: Path, attack):
    """Nothing is written."""
    with Logbook(attacked) as logbook:
        forge(logbook, attack)
        with pytest.raises(RecordBroken, match="seal of block"):
            writing.write(logbook, world.JOB, tmp_path / "records", at=LATER)
    assert not list((tmp_path / "records").glob("*"))


@pytest.mark.long
@pytest.mark.parametrize("attack", UNSIGNED)
@pytest.mark.few(2)
def test_a_record_that_carries_a_forged_seal_does_not_verify(
    attacked: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, attack
):
    """Who holds the key can sign a record around it: the record's own check finds the seal inside."""
    monkeypatch.setattr(writing, "check_seals", lambda logbook: None)
    with Logbook(attacked) as logbook:
        forge(logbook, attack, world.JOB)
        logbook.write(Entry(EntryKind.NOTE, {"text": "later"}, LATER, job=world.JOB))
        written = writing.write(logbook, world.JOB, tmp_path / "records", at=LATER, pdf=False)
    assert written.folder is not None
    with pytest.raises(RecordBroken, match="seal of block"):
        examination.verify(written.folder)


@pytest.mark.parametrize("attack", UNSIGNED)
def test_a_forged_seal_holds_where_no_signature_is_checked(
    attacked: Path, monkeypatch: pytest.MonkeyPatch, attack
):
    """The control: each is one of the logbook's seals, with a code of its own."""
    monkeypatch.setattr(sealing, "check_signature", lambda *_: None)
    with Logbook(attacked) as logbook:
        forge(logbook, attack)
        assert check_seals(logbook).seals[-1] == seals(logbook)[-1]


def test_without_the_key_file_two_keys_are_still_found(attacked: Path):
    """A copy that left its key behind: the first seal's key is expected of all later ones."""
    with Logbook(attacked) as logbook:
        forge(logbook, another_key_that_names_itself)
        key_path(attacked).unlink()
        with pytest.raises(RecordBroken, match="seal of block"):
            check_seals(logbook)


def test_with_the_key_file_a_stranger_s_first_seal_is_found(tmp_path: Path):
    """The only seal is a stranger's and whole in itself: the key beside the logbook is not his."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(list(world.readings(world.OPENED, world.OPENED + DAY, step=900.0)))
        logbook.write(Entry(EntryKind.SEAL, made_by_a_stranger(logbook), LATER))
        assert len(check_seals(logbook).seals) == 1  # no key yet: nobody can know better
        with Logbook(tmp_path / "other.sqlite") as other:
            signing_key(other)
        key_path(other.path).rename(key_path(logbook.path))
        with pytest.raises(RecordBroken, match=r"expected key \w+, which is beside"):
            check_seals(logbook)


def made_by_a_stranger(logbook: Logbook) -> dict[str, str]:
    """What a seal of this logbook's head holds when a stranger makes it."""
    head = logbook.close_block()
    key = STRANGER.public_key().public_bytes_raw().hex()
    text = f"curewatch seal 2\nblock {head.block}\nhead {head.head}\nat {iso_utc(LATER)}\n"
    text += f"reason day\nkey {key}\n"
    signature = STRANGER.sign(text.encode()).hex()
    return {"text": text, "signature": signature, "code": parse(text, signature).code, "reason": "day"}
