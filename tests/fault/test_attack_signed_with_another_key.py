"""Attack: the whole record is signed again with a key of the attacker's own."""

from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from curewatch.errors import RecordBroken
from curewatch.logbook.sealing import Signed
from curewatch.record import verification
from curewatch.record.proof import LISTED, checksums
from curewatch.record.verification import verify_files
from tests.record_attacks import Sealed, answers


def forged(sealed: Sealed) -> dict[str, bytes]:
    """A record that is whole in itself, by another key."""
    key = Ed25519PrivateKey.generate()
    files = dict(sealed.files)
    raw = key.public_key().public_bytes_raw().hex()
    files["key.pem"] = key.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    files["seal.txt"] = files["seal.txt"].replace(sealed.seal.public_key.encode(), raw.encode())
    files["seal.sig"] = key.sign(files["seal.txt"])
    files["files.sha256"] = checksums({name: files[name] for name in LISTED})
    files["files.sig"] = key.sign(files["files.sha256"])
    return files


@pytest.mark.long
def test_another_key_is_found_by_the_seal_code(sealed: Sealed, folder: Path):
    """The code on the job card names the key too: with it, both checks refuse the forgery."""
    found = answers(forged(sealed), folder, sealed.seal.code)
    assert "key" in found.broken
    assert found.shell == 5


def test_another_key_is_found_by_the_key_itself(sealed: Sealed):
    """Who knows the public key from before needs no code."""
    with pytest.raises(RecordBroken, match=r"^(key\.pem|seal\.txt)"):
        verify_files(forged(sealed), key=sealed.seal.public_key)


@pytest.mark.long
def test_another_key_is_found_by_the_seals_among_the_entries(sealed: Sealed, folder: Path):
    """The forger cannot sign the seals of earlier days; else their code would vouch for his own seal."""
    found = answers(forged(sealed), folder)
    assert found.broken.startswith("seal.txt")
    assert found.shell == 5
    assert "another key" in found.said


def test_a_signature_alone_of_another_key_is_found(sealed: Sealed, folder: Path):
    """The list is signed by somebody else, the key in the folder is the old one."""
    files = dict(sealed.files)
    files["files.sig"] = Ed25519PrivateKey.generate().sign(files["files.sha256"])
    found = answers(files, folder)
    assert found.broken.startswith("files.sha256")
    assert found.shell == 5


def test_another_key_holds_where_earlier_seals_are_not_asked(sealed: Sealed, monkeypatch: pytest.MonkeyPatch):
    """The control: neither a code, nor a key, nor the seals among the entries."""
    monkeypatch.setattr(verification, "_check_inner", lambda *_: Signed([], [], ""))
    assert verify_files(forged(sealed)).seal.public_key != sealed.seal.public_key
