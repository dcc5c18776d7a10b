"""Attack: the owner looks for two histories with one seal code, or hides a number to choose with in a seal.

He has the key and signs whatever he writes. Against him only the length of the code defends, so these
tests hold that its length is what the room says, and that a seal has no place for a number of his own.
"""

import re
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import Entry, EntryKind, Logbook, sealing
from curewatch.logbook.keys import key_path, load_key
from curewatch.logbook.seal_code import code_of, read_code
from curewatch.logbook.sealing import check_seals, parse, prove, seal
from curewatch.record import verification
from curewatch.record.verification import verify_files
from tests import record_world as world
from tests.record_attacks import ATTACKERS, Sealed, answers, attacked, shell_check

NONCES = {
    "the reason": (r"reason [a-z-]+", "reason record-7f3a"),
    "the first line": (r"seal 2", "seal 2 7f3a"),
    "noughts before the block": (r"block ", "block 00"),
    "capitals in the head": (r"head ([0-9a-f]*?)([a-f])", lambda found: found[0][:-1] + found[2].upper()),
    "capitals in the key": (r"key ([0-9a-f]*?)([a-f])", lambda found: found[0][:-1] + found[2].upper()),
    "digits of a second": (r"Z\n", "7Z\n"),
    "another zone": (r"Z\n", "+00:00\n"),
    "a line more": (r"$", "nonce 7f3a\n"),
    "no line feed at the end": (r"\n$", ""),
    "another line end": (r"\n", "\r\n"),
    "a line of its own kind": (r"\nreason", "\vreason"),
    "blanks at the end": (r"record", "record "),
}


def hidden(text: str, name: str) -> str:
    pattern, put = NONCES[name]
    changed = re.sub(pattern, put, text.replace("reason job-close", "reason record"), count=1)
    assert changed != text
    return changed


@pytest.mark.parametrize("name", NONCES)
@pytest.mark.few(6)
def test_a_record_whose_seal_hides_a_number_is_refused(sealed: Sealed, folder: Path, name: str):
    """Signed throughout with the right key: the program and the page of shell both refuse it."""

    def change(files: dict[str, bytes]) -> dict[str, bytes]:
        text = hidden(files["seal.txt"].decode(), name).encode()
        return {"seal.txt": text, "seal.sig": sealed.key.sign(text)}

    found = answers(attacked(sealed, change, ATTACKERS[2]), folder)
    assert found.broken.startswith("seal")
    assert found.shell == 5


@pytest.mark.parametrize("name", NONCES)
def test_a_logbook_whose_seal_hides_a_number_is_refused(tmp_path: Path, name: str):
    """The owner writes the seal himself and signs it: the chain holds, the seal does not."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.write(Entry(EntryKind.NOTE, {"text": "laid"}, world.OPENED))
        genuine = seal(logbook, reason="record", at=world.OPENED + 1)
        text = hidden(genuine.text, name)
        signature = load_key(key_path(logbook.path)).sign(text.encode()).hex()
        payload = {"text": text, "signature": signature, "code": genuine.code, "reason": "record"}
        logbook.write(Entry(EntryKind.SEAL, payload, world.OPENED + 1))
        logbook.verify()
        with pytest.raises(RecordBroken, match="seal"):
            check_seals(logbook)


@pytest.mark.parametrize(
    ("key", "value"),
    [("code", "0000-0000-0000-0000-0000-0000-0000"), ("reason", "day"), ("at", None), ("block", None)],
)
def test_a_seal_s_entry_tells_what_its_text_tells(tmp_path: Path, key: str, value: str | None):
    """The code that is shown and published comes from the entry: it may not be another one."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.write(Entry(EntryKind.NOTE, {"text": "laid"}, world.OPENED))
        genuine = seal(logbook, reason="record", at=world.OPENED + 1)
        text = genuine.text.replace("block 1", "block 9") if key == "block" else genuine.text
        signature = load_key(key_path(logbook.path)).sign(text.encode()).hex()
        payload = {"text": text, "signature": signature, "code": parse(text, "").code, "reason": "record"}
        payload |= {key: value} if value else {}
        at = world.OPENED + (2 if key == "at" else 1)
        logbook.write(Entry(EntryKind.SEAL, payload, at))
        with pytest.raises(RecordBroken, match="entry 3"):
            check_seals(logbook)


@pytest.mark.parametrize("bit", range(0, 256, 5))
def test_the_code_carries_130_bits_and_the_square_code_all(bit: int):
    """Two digests that differ in one of the first 130 bits have two codes; beyond, the digits tell."""
    one, other = "0" * 64, f"{1 << 255 - bit:064x}"
    assert (code_of(one) != code_of(other)) == (bit < 130)
    assert read_code(one) != read_code(other)


@pytest.mark.long
def test_all_digits_of_a_seal_prove_as_its_code_does(sealed: Sealed, folder: Path):
    """What a camera reads is taken by program and shell; one digit changed is refused by both."""
    digits = parse(sealed.files["seal.txt"].decode(), "").digest
    wrong = digits[:-1] + ("0" if digits[-1] != "0" else "1")
    assert answers(sealed.files, folder, f"CUREWATCH SEAL {digits.upper()}").shell == 0
    assert verify_files(sealed.files, code=digits).seal.digest == digits
    assert shell_check(folder, wrong).returncode == 5
    with pytest.raises(RecordBroken, match="seal code"):
        verify_files(sealed.files, code=wrong)


def test_a_logbook_proves_all_digits(tmp_path: Path):
    """`logbook verify --code` takes what the camera read."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        made = seal(logbook, reason="day", at=world.OPENED)
        assert prove(logbook, made.digest.upper()) == made
        with pytest.raises(RecordBroken, match="rewritten"):
            prove(logbook, "0" * 64)


@pytest.mark.parametrize("name", ["the reason", "the first line", "blanks at the end"])
def test_a_hidden_number_holds_where_the_text_is_not_fixed(
    sealed: Sealed, name: str, monkeypatch: pytest.MonkeyPatch
):
    """The control: with a looser form of a seal each of these is one, with a code of its own."""
    pages = sealed.pages
    loose = sealing._TEXT.pattern.replace("seal 2", "seal 2[^\\n]*").replace(")\\nkey", ")[^\\n]*\\nkey")
    monkeypatch.setattr(sealing, "_TEXT", re.compile(loose))
    monkeypatch.setattr(verification, "check_said", lambda *_: pages)
    text = hidden(sealed.files["seal.txt"].decode(), name).encode()
    signed = {"seal.txt": text, "seal.sig": sealed.key.sign(text)}
    held = verify_files(attacked(sealed, lambda _: signed, ATTACKERS[2]))
    assert held.seal.code != sealed.seal.code
