"""What an attacker can do to a record, and what the two checks say to it.

Three attackers: one changes a file; one also rebuilds the list of digests; one has the signing key
and signs the list again, but cannot undo the seal code that left the machine.
"""

import os
import shutil
import subprocess
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from curewatch.errors import RecordBroken
from curewatch.logbook.sealing import Seal
from curewatch.record.examination import verify
from curewatch.record.proof import LISTED, checksums
from curewatch.record.verification import verify_files

Change = Callable[[dict[str, bytes]], Mapping[str, bytes]]
ATTACKERS = ("changes a file", "rebuilds the list", "signs the list again")


class Sealed(NamedTuple):
    """A record as it was written, and what an attacker might get hold of."""

    files: Mapping[str, bytes]
    seal: Seal
    key: Ed25519PrivateKey
    folder: Path
    pdf: bytes
    logbook: Path


class Answers(NamedTuple):
    """What the program and the page of shell say."""

    broken: str  # "" if it holds; else what the program names
    shell: int  # exit status of check.sh
    said: str


def attacked(sealed: Sealed, change: Change, attacker: str) -> dict[str, bytes]:
    """The record's files after a change by this attacker."""
    files = dict(sealed.files)
    changed = change(files)
    assert changed != sealed.files, "the attack changed nothing"
    files = {**files, **changed}
    if attacker != ATTACKERS[0]:
        files["files.sha256"] = checksums({name: files[name] for name in LISTED})
    if attacker == ATTACKERS[2]:
        files["files.sig"] = sealed.key.sign(files["files.sha256"])
    return files


def answers(files: Mapping[str, bytes], folder: Path, code: str | None = None) -> Answers:
    """Both checks of the same files."""
    folder.mkdir(exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content)
    try:
        verify_files(files, code=code)
        broken = ""
    except RecordBroken as found:
        broken = str(found)
    else:
        assert verify(folder, code=code)
    # the check that came with the record is the attacker's too: run the one that we know
    shell = shell_check(folder, code)
    return Answers(broken, shell.returncode, shell.stdout + shell.stderr)


def shell_check(folder: Path, code: str | None = None) -> "subprocess.CompletedProcess[str]":
    """Run the page of shell in the folder, without this program's environment."""
    need("sh", "sha256sum", "openssl", "awk")
    arguments = ["sh", "check.sh", *([code] if code else [])]
    return subprocess.run(
        arguments,
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env={"PATH": os.environ["PATH"]},
    )


def need(*tools: str) -> None:
    """Stand aside where a system tool is missing, unless it was promised to be there."""
    missing = [tool for tool in tools if shutil.which(tool) is None]
    if missing and os.environ.get("CUREWATCH_REQUIRE_SYSTEM_TOOLS"):
        pytest.fail(f"missing: {', '.join(missing)}")
    if missing:
        pytest.skip(f"needs {', '.join(missing)}")


def lines(content: bytes) -> list[bytes]:
    """The lines, each with its line feed."""
    return content.splitlines(keepends=True)
