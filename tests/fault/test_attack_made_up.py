"""Attack: a record made up by somebody with a key of his own, to make the check itself stumble."""

import re
from contextlib import suppress
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from curewatch.errors import RecordBroken
from curewatch.logbook import entry
from curewatch.record import verification
from curewatch.record.examination import verify_pdf
from curewatch.record.proof import LISTED, checksums
from curewatch.record.verification import verify_files
from tests.examples import up_to
from tests.record_attacks import Sealed

KEY = Ed25519PrivateKey.from_private_bytes(bytes(32))
PEM = KEY.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
TEXTS = ["entries.jsonl", "readings.csv", "blocks.csv", "digests.csv", "seal.txt", "key.pem"]
ODD = [
    b"",
    b"\n",
    b"\xff\xfe",
    b"\x00",
    b",,,,,,,\n",
    b'{"number":1e999}\n',
    b"[" * 3000,
    b"9" * 5000 + b",",
    b"-1,",
    b"\xd9\xa1",
]


def own_record(sealed: Sealed) -> dict[str, bytes]:
    """The genuine files under the forger's key."""
    files = {**sealed.files, "key.pem": PEM}
    raw = KEY.public_key().public_bytes_raw().hex().encode()
    return {**files, "seal.txt": files["seal.txt"].replace(sealed.seal.public_key.encode(), raw)}


def with_odd(files: dict[str, bytes], name: str, odd: bytes) -> dict[str, bytes]:
    """Something odd in the place of the second line's first cell, signed throughout."""
    rows = files[name].splitlines(keepends=True)
    rows[1] = odd + rows[1].partition(b",")[2]
    return signed({**files, name: b"".join(rows)})


def signed(files: dict[str, bytes]) -> dict[str, bytes]:
    """Signed throughout with the forger's key, so that every later step is reached."""
    files["seal.sig"] = KEY.sign(files["seal.txt"])
    files["files.sha256"] = checksums({name: files[name] for name in LISTED})
    files["files.sig"] = KEY.sign(files["files.sha256"])
    return files


@pytest.mark.long
@settings(max_examples=up_to(150), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    name=st.sampled_from(TEXTS),
    at=st.floats(0, 1),
    cut=st.integers(0, 60),
    put=st.one_of(
        st.sampled_from(ODD),
        st.binary(max_size=40),
        st.text(max_size=20).map(lambda t: t.encode(errors="replace")),
    ),
)
def test_nothing_made_up_is_more_than_broken(sealed: Sealed, name: str, at: float, cut: int, put: bytes):
    """Any bytes anywhere in any file, signed throughout: broken or whole, never anything else."""
    files = own_record(sealed)
    place = int(at * len(files[name]))
    files[name] = files[name][:place] + put + files[name][place + cut :]
    with suppress(RecordBroken):
        verify_files(signed(files))


@pytest.mark.parametrize("odd", ODD)
def test_an_odd_value_is_named_as_broken(sealed: Sealed, odd: bytes):
    """In each file, where a number or a word of it stood."""
    for name in TEXTS:
        with pytest.raises(RecordBroken):
            verify_files(with_odd(own_record(sealed), name, odd))


def any_entry(line: str, listed: object) -> entry.StoredEntry:
    """An entry's line, not guarded against what is none."""
    return entry.stored(line)


UNGUARDED: dict[str, tuple[str, Any, str, bytes]] = {
    "bytes that are no text": (
        *("_text", lambda files, name: files[name].decode("ascii")),
        *("blocks.csv", b"\xff\xfe"),
    ),
    "digits without end": ("_NUMBER", re.compile(".*"), "blocks.csv", b"9" * 5000 + b","),
    "a number past all numbers": ("_entry", any_entry, "entries.jsonl", b'{"number":1e999}\n'),
    "depth": ("_entry", any_entry, "entries.jsonl", b"[" * 3000),
}


@pytest.mark.parametrize("name", UNGUARDED)
def test_without_its_guard_the_check_stumbles(sealed: Sealed, name: str, monkeypatch: pytest.MonkeyPatch):
    """The control: each comes through as an error that says nothing of the record."""
    step, without, file, odd = UNGUARDED[name]
    files = with_odd(own_record(sealed), file, odd)
    with pytest.raises(RecordBroken):
        verify_files(files)
    monkeypatch.setattr(verification, step, without)
    # a newer reader of JSON goes as deep as the line, and stumbles at its end
    with pytest.raises(ValueError, match=r"codec|digits|not a line of the logbook|delimiter"):
        verify_files(files)


@settings(max_examples=up_to(60), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(at=st.floats(0, 1), cut=st.integers(0, 5000), put=st.binary(max_size=60))
@pytest.mark.long
def test_no_pdf_is_more_than_broken(sealed: Sealed, at: float, cut: int, put: bytes):
    """Any bytes anywhere in the PDF: broken, unless nothing was changed."""
    place = int(at * len(sealed.pdf))
    changed = sealed.pdf[:place] + put + sealed.pdf[place + cut :]
    if changed == sealed.pdf:
        return
    try:
        verify_pdf(changed)
    except RecordBroken:
        return
    raise AssertionError("a changed PDF was taken for whole")
