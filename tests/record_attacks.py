"""What an attacker can do to a record, and what the two checks say to it.

Three attackers: one changes a file; one also rebuilds the list of digests; one has the signing key
and signs the list again, but cannot undo the seal code that left the machine.
"""

import json
import os
import re
import shutil
import subprocess
from collections.abc import Callable, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from curewatch.errors import RecordBroken
from curewatch.logbook import chain, entry
from curewatch.logbook.keys import key_path
from curewatch.logbook.seal_code import seal_code
from curewatch.logbook.sealing import Seal
from curewatch.record.examination import verify
from curewatch.record.page import Pages
from curewatch.record.proof import LISTED, checksums
from curewatch.record.verification import verify_files
from tests.broker import PATIENCE

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
    pages: Pages  # as they follow from the files


def own_copy(sealed: Sealed, folder: Path) -> Path:
    """The sealed logbook with its key in a folder of one's own, to write into."""
    folder.mkdir(exist_ok=True)
    for path in (sealed.logbook, key_path(sealed.logbook)):
        shutil.copy(path, folder / path.name)
    return folder / sealed.logbook.name


class Answers(NamedTuple):
    """What the program and the page of shell say."""

    broken: str  # "" if it holds; else what the program names
    shell: int  # exit status of check.sh
    said: str


def attacked(sealed: Sealed, change: Change, attacker: str) -> dict[str, bytes]:
    """The record's files after a change by this attacker."""
    files = dict(sealed.files)
    changed = change(files)
    assert any(sealed.files.get(name) != content for name, content in changed.items()), "nothing changed"
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


def shell_check(
    folder: Path,
    code: str | None = None,
    path: str | None = None,
    roots: Path | None = None,
    script: Path | None = None,
) -> "subprocess.CompletedProcess[str]":
    """Run the page of shell in the folder, outside this program's environment; ``path``: its tools.

    ``script``: one from elsewhere, not the one that came with the record.
    """
    need("sh", "sha256sum", "openssl", "awk")
    check = ["check.sh"] if script is None else [str(script), "-d", str(folder)]
    arguments = ["sh", *check, *([code] if code else []), *([str(roots)] if roots else [])]
    return subprocess.run(
        arguments,
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=False,
        env={"PATH": path or os.environ["PATH"]},
    )


def spent() -> float:
    """Seconds of processor so far, of this process and of those that it waited for: no load counts."""
    return sum(os.times()[:4])


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


class OwnChain:
    """The record of an owner who writes the chain himself: every digest and seal is right.

    ``entries`` are the lines by number, ``listed`` what he says of each in the list (kind and owner),
    ``counts`` what he says of a block (readings, entries). All else follows and is signed with his key.
    """

    def __init__(self, sealed: Sealed) -> None:
        self.files = dict(sealed.files)
        self.key = sealed.key
        self.heading, *rows = self.files["blocks.csv"].decode().splitlines()
        self.blocks = [row.split(",") for row in rows]
        told = [json.loads(line) for line in self.files["entries.jsonl"].decode().splitlines()]
        self.entries = {one["number"]: one for one in told}
        self.texts: dict[int, str] = {}  # lines that are no canonical JSON, by number
        self.list_heading, *rows = self.files["digests.csv"].decode().splitlines()
        self.listed = {int(row.split(",")[1]): row.split(",") for row in rows}
        self.counts: dict[int, tuple[int, int]] = {}

    def of_kind(self, kind: str) -> dict[str, Any]:
        """The last entry of this kind."""
        return [one for one in self.entries.values() if one["kind"] == kind][-1]

    def add(self, kind: str, payload: dict[str, Any], block: int, job: str | None, at: str) -> None:
        """One entry more, at the end of the list of its block."""
        number = max(self.listed) + 1
        line = {"number": number, "block": block, "kind": kind, "at": at, "recorded": at, "job": job}
        self.entries[number] = line | {"key": None, "payload": payload}
        self.listed[number] = [str(block), str(number), kind, entry.owner(job), ""]

    def made(self) -> dict[str, bytes]:
        """Every file."""
        head, heads = self.blocks[0][1], {}
        for row in self.blocks:
            number = int(row[0])
            mine = [one for one in self.listed.values() if one[0] == row[0]]
            for one in mine:
                self._settle(int(one[1]), heads)
            text = "".join(",".join(one[1:]) + "\n" for one in mine)
            readings, entries = self.counts.get(number, (int(row[2]), len(mine)))
            row[1:7] = [head, str(readings), row[3], str(entries), sha256(text.encode()).hexdigest(), ""]
            head = chain.head(chain.Face(int(row[8]), number, head, readings, row[3], entries, row[5]))
            row[6] = heads[number] = head
        self._write(head)
        return self.files

    def _settle(self, number: int, heads: Mapping[int, str]) -> None:
        one = self.entries.get(number)
        if one is None:
            return
        if one["kind"] == "seal" and one["payload"].get("signed_by_him", True):
            text = re.sub(
                r"block (\d+)\nhead \w+",
                lambda found: f"block {found[1]}\nhead {heads.get(int(found[1]), found[0][-64:])}",
                one["payload"]["text"],
            )
            signature = self.key.sign(text.encode()).hex()
            one["payload"] |= {"text": text, "signature": signature, "code": seal_code(text)}
        one["payload"].pop("signed_by_him", None)
        one["payload"] |= one.pop("afterwards", {})
        line = self.texts.get(number, entry.canonical(one))
        self.texts[number] = line
        self.listed[number][4] = sha256(line.encode()).hexdigest()

    def _write(self, head: str) -> None:
        rows = [self.heading, *(",".join(row) for row in self.blocks)]
        self.files["blocks.csv"] = "".join(f"{row}\n" for row in rows).encode()
        rows = [self.list_heading, *(",".join(one) for one in sorted(self.listed.values(), key=_place))]
        self.files["digests.csv"] = "".join(f"{row}\n" for row in rows).encode()
        told = "".join(self.texts[number] + "\n" for number in sorted(self.entries))
        self.files["entries.jsonl"] = told.encode()
        seal = re.sub(rb"head \w+", f"head {head}".encode(), self.files["seal.txt"])
        self.files |= {"seal.txt": seal, "seal.sig": self.key.sign(seal)}
        self.files["files.sha256"] = checksums({name: self.files[name] for name in LISTED})
        self.files["files.sig"] = self.key.sign(self.files["files.sha256"])


def _place(row: list[str]) -> tuple[int, int]:
    return int(row[0]), int(row[1])
