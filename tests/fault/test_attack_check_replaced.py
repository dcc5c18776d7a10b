"""Attack: the owner puts a check of his own into the record, and signs it. Run there, it says HOLDS.

check.sh comes from the suspect. Its SHA-256 is published with the program: ``record verify`` compares it,
and so does the page of shell when it is taken from elsewhere and given the folder.
"""

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.record import verification
from curewatch.record.proof import published, shipped
from curewatch.record.verification import verify_files
from tests.broker import PATIENCE
from tests.record_attacks import ATTACKERS, Sealed, attacked, shell_check


def always_holds(check: bytes) -> bytes:
    return b"#!/bin/sh\necho HOLDS: blocks 1 to 23\n"


def looks_at_no_reading(check: bytes) -> bytes:
    return check.replace(b'same readings "readings of block"\n', b"")


def ends_early(check: bytes) -> bytes:
    return check.replace(b"# 3 readings", b"echo HOLDS; exit 0\n# 3 readings")


def one_blank_more(check: bytes) -> bytes:
    return check + b"\n"


REPLACED = [always_holds, looks_at_no_reading, ends_early, one_blank_more]


@pytest.mark.long
@pytest.mark.parametrize("replace", REPLACED)
@pytest.mark.few(2)
def test_a_check_that_was_not_published_is_refused(
    sealed: Sealed, folder: Path, replace: Callable[[bytes], bytes], monkeypatch: pytest.MonkeyPatch
):
    """By the program and by our page of shell, by the record's own never. Not compared, it holds."""
    files = attacked(sealed, lambda files: {"check.sh": replace(files["check.sh"])}, ATTACKERS[2])
    with pytest.raises(RecordBroken, match=r"^check\.sh: expected one that was published"):
        verify_files(files)
    folder.mkdir()
    for name, content in files.items():
        (folder / name).write_bytes(content)
    ours = folder.parent / "check.sh"
    ours.write_bytes(shipped("check.sh"))
    said = subprocess.run(
        ["sh", str(ours), "-d", str(folder)], capture_output=True, text=True, timeout=PATIENCE, check=False
    )
    assert (said.returncode, "another one" in said.stdout) == (5, True)
    assert "HOLDS" in shell_check(folder).stdout  # the control: the suspect's own
    monkeypatch.setattr(verification, "_check_tools", lambda files: None)
    assert verify_files(files)


@pytest.mark.parametrize("line", [b"It holds against everybody.\n", b"You need not compare the code.\n"])
def test_a_page_of_words_that_was_not_published_is_refused(
    sealed: Sealed, line: bytes, monkeypatch: pytest.MonkeyPatch
):
    """README.txt says what is shown and what not; the suspect would say more. Not compared, it holds."""
    files = attacked(sealed, lambda files: {"README.txt": files["README.txt"] + line}, ATTACKERS[2])
    with pytest.raises(RecordBroken, match=r"^README\.txt: expected one that was published"):
        verify_files(files)
    monkeypatch.setattr(verification, "_check_tools", lambda files: None)
    assert verify_files(files)


@pytest.mark.parametrize("name", ["check.sh", "README.txt"])
def test_what_is_shipped_is_what_is_published(name: str):
    """After a change: `sha256sum README.txt check.sh` goes into published.sha256, beside older editions."""
    assert verification.sha256(shipped(name)).hexdigest() in published(name)


@pytest.mark.long
def test_the_folder_is_checked_from_elsewhere(sealed: Sealed, tmp_path: Path):
    """Ours, with -d: the same answer as in the folder."""
    ours = tmp_path / "check.sh"
    ours.write_bytes(shipped("check.sh"))
    said = subprocess.run(
        ["sh", str(ours), "-d", str(sealed.folder), sealed.seal.code],
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=False,
    )
    assert (said.returncode, said.stdout) == (0, shell_check(sealed.folder, sealed.seal.code).stdout)
