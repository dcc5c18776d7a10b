"""Does a record prove what it says? The same steps as ``files/check.sh``, naming what is wrong.

A record is data from outside: names are looked up, never followed; sizes are bounded; whatever does
not parse is a :class:`RecordBroken`, never a traceback.
"""

import re
from collections.abc import Container, Mapping, Sequence
from hashlib import sha256
from typing import NamedTuple

from curewatch.errors import RecordBroken
from curewatch.logbook import EntryKind, StoredEntry, chain, columns, entry
from curewatch.logbook.seal_code import read_code
from curewatch.logbook.sealing import Seal, check_signature, parse, seal_of
from curewatch.logbook.series import BlockRows
from curewatch.record.evidence import read_rows
from curewatch.record.page import Pages
from curewatch.record.proof import (
    BLOCKS_HEADER,
    DIGESTS_HEADER,
    FILES,
    LISTED,
    SHED_WIDE,
    checksums,
)
from curewatch.record.reckoning import LeftOut, Lines, Link, check_said, left_out_blocks, readings_from

_NOTHING = sha256().hexdigest()
_NUMBER = re.compile(r"[0-9]{1,15}")
_LISTED = re.compile(r"[0-9]{1,15},[A-Za-z0-9 %-]{1,200},(?:-|[0-9a-f]{32}),[0-9a-f]{64}")
_DIGEST = re.compile(r"[0-9a-f]{64}")


class Holds(NamedTuple):
    """What a record proves."""

    seal: Seal
    codes: tuple[str, ...]  # of the final seal, then of the seals among its entries
    first_block: int
    readings: int
    entries: int
    left_out: int  # entries of other jobs, of which only the digest is there
    checked: Mapping[str, str]  # every file that was checked, with its SHA-256
    pages: Pages  # as they were made again from the evidence
    left_out_blocks: tuple[LeftOut, ...]


def verify_files(files: Mapping[str, bytes], *, code: str | None = None, key: str | None = None) -> Holds:
    """Check the files of a proof; a seal code or a key that was written down before must be theirs.

    Raises
    ------
    RecordBroken
        Names the file, block or entry, what was expected and what was found.
    """
    _check_list(files)
    seal = _check_seal(files)
    links = _links(_text(files, "blocks.csv"))
    readings, blocks, tokens = _check_readings(_text(files, "readings.csv"), links)
    entries, left_out = _check_entries(files, links)
    _check_chain(links, seal)
    inner = _check_inner_seals(entries, links, seal.public_key)
    whole = check_said(files, Lines(entries, blocks, tokens, links), seal)
    codes = (seal.code, *(one.code for one in inner))
    if code is not None and read_code(code) not in (*codes, *(one.digest for one in (seal, *inner))):
        raise RecordBroken(
            f"seal code {read_code(code)}", "a seal of this record with this code", ", ".join(codes)
        )
    if key is not None and key.strip().lower() != seal.public_key:
        raise RecordBroken("key.pem", f"key {key}", f"key {seal.public_key}")
    digests = {name: sha256(files[name]).hexdigest() for name in FILES}
    blocks_out = left_out_blocks(links, blocks)
    first = links[0].face.number
    return Holds(seal, codes, first, readings, len(entries), left_out, digests, whole, blocks_out)


def _check_list(files: Mapping[str, bytes]) -> None:
    """Step 1: every file is as it was signed."""
    for name in FILES:
        if name not in files:
            raise RecordBroken(name, "a file of that name", "none")
    listed = files["files.sha256"]
    expected = checksums({name: files[name] for name in LISTED})
    if listed != expected:
        found, told = expected.decode().splitlines(), listed.decode(errors="replace").splitlines()
        for name, ours, theirs in zip(LISTED, found, [*told, *[""] * len(found)], strict=False):
            if ours != theirs:
                raise RecordBroken(name, f"what files.sha256 lists: {theirs[:80]}", ours)
        raise RecordBroken("files.sha256", "the files of a record", f"{len(told)} lines")
    _check_signed(files, "files.sha256", "files.sig")


def _check_seal(files: Mapping[str, bytes]) -> Seal:
    """Step 2: the seal was signed with the key at hand, and names it."""
    _check_signed(files, "seal.txt", "seal.sig")
    seal = parse(_text(files, "seal.txt"), files["seal.sig"].hex())
    public = public_key(files["key.pem"])
    if seal.public_key != public:
        raise RecordBroken("seal.txt", f"key {public}", f"key {seal.public_key[:64]}")
    return seal


def public_key(pem: bytes) -> str:
    """The raw Ed25519 key of a PEM file, hexadecimal."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    try:
        key = load_pem_public_key(pem)
    except ValueError as trouble:
        raise RecordBroken("key.pem", "an Ed25519 public key", "something else") from trouble
    if not isinstance(key, Ed25519PublicKey):
        raise RecordBroken("key.pem", "an Ed25519 public key", type(key).__name__)
    return key.public_bytes_raw().hex()


def _check_signed(files: Mapping[str, bytes], name: str, signature: str) -> None:
    check_signed(files[name], files[signature], public_key(files["key.pem"]), name)


def check_signed(content: bytes, signature: bytes, public: str, name: str) -> None:
    """Raise RecordBroken unless this content was signed with this key."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(public)).verify(signature, content)
    except InvalidSignature as trouble:
        raise RecordBroken(name, f"signed with key {public}", "another signature") from trouble


def _links(text: str) -> list[Link]:
    links = []
    for number, line in enumerate(_table(text, "blocks.csv", BLOCKS_HEADER), 2):
        cells = line.split(",")
        if len(cells) != 9 or not all(_NUMBER.fullmatch(cells[n]) for n in (0, 2, 4, 8)):
            raise RecordBroken(f"blocks.csv line {number}", "a block", line[:80])
        if not all(_DIGEST.fullmatch(cells[n]) for n in (1, 3, 5, 6)):
            raise RecordBroken(f"blocks.csv line {number}", "digests of 64 hexadecimal digits", line[:80])
        block, previous, readings, readings_digest, entries, entries_digest, head, held, form = cells
        counted = int(readings), readings_digest, int(entries), entries_digest
        face = chain.Face(int(form), int(block), previous, *counted)
        links.append(Link(face, head, held == "here"))
    if not links:
        raise RecordBroken("blocks.csv", "at least one block", "none")
    return links


def _check_readings(text: str, links: Sequence[Link]) -> tuple[int, list[BlockRows], dict[int, str]]:
    """Step 3: the lines of each block have its digest."""
    digests: dict[str, tuple[int, str]] = {}
    lines_of: dict[str, list[str]] = {}
    for block, lines in _by_block(_table(text, "readings.csv", _heading(links)), "readings.csv"):
        lines_of[block] = lines
        digests[block] = len(lines), sha256("".join(f"{line}\n" for line in lines).encode()).hexdigest()
    total = 0
    for face, _, here in links:
        count, digest = digests.pop(str(face.number), (0, _NOTHING))
        total += count
        expected = (face.readings, face.readings_digest) if here else (0, _NOTHING)
        if (count, digest) != expected:
            raise RecordBroken(
                f"readings of block {face.number}",
                f"{expected[0]} readings with digest {expected[1]}",
                f"{count} readings with digest {digest}",
            )
    if digests:
        raise RecordBroken(
            "readings.csv", "readings of the blocks listed", f"block {next(iter(digests))[:20]}"
        )
    here_are = [link.face for link in links if link.readings_are_here]
    return total, *read_rows(
        (face.number, face.form, lines_of.get(str(face.number), [])) for face in here_are
    )


def _heading(links: Sequence[Link]) -> str:
    """The columns of the newest form among the blocks whose readings are here."""
    forms = [link.face.form for link in links if link.readings_are_here]
    try:
        return columns.form(max(forms, default=1)).heading
    except ValueError as trouble:
        raise RecordBroken(
            "blocks.csv", "forms that this program knows; update curewatch", f"{trouble}"
        ) from trouble


def _by_block(lines: Sequence[str], name: str) -> list[tuple[str, list[str]]]:
    """Runs of lines that begin with the same block's number; a block that comes twice is broken."""
    runs: list[tuple[str, list[str]]] = []
    seen: set[str] = set()
    for line in lines:
        block = line.partition(",")[0]
        if not runs or runs[-1][0] != block:
            if block in seen:
                raise RecordBroken(name, f"the lines of block {block[:20]} together", "some of them apart")
            seen.add(block)
            runs.append((block, []))
        runs[-1][1].append(line)
    return runs


def _check_entries(files: Mapping[str, bytes], links: Sequence[Link]) -> tuple[list[StoredEntry], int]:
    """Step 4: every entry has the digest listed, and every list the digest of its block."""
    listed: dict[int, str] = {}
    runs = dict(_by_block(_table(_text(files, "digests.csv"), "digests.csv", DIGESTS_HEADER), "digests.csv"))
    for face, _, _ in links:
        lines = [line.partition(",")[2] for line in runs.pop(str(face.number), [])]
        digest = sha256("".join(f"{line}\n" for line in lines).encode()).hexdigest()
        if (len(lines), digest) != (face.entries, face.entries_digest):
            raise RecordBroken(
                f"entries of block {face.number}",
                f"{face.entries} entries with digest {face.entries_digest}",
                f"{len(lines)} entries with digest {digest}",
            )
        for line in lines:
            number = line.partition(",")[0]
            if not _LISTED.fullmatch(line) or int(number) in listed:
                raise RecordBroken("digests.csv", "each entry once, by its number", line[:80])
            listed[int(number)] = f"{face.number},{line}"
    if runs:
        raise RecordBroken("digests.csv", "entries of the blocks listed", f"block {next(iter(runs))[:20]}")
    found = [_entry(line, listed) for line in _lines(_text(files, "entries.jsonl"), "entries.jsonl")]
    numbers = [one.number for one in found]
    if numbers != sorted(set(numbers)):
        raise RecordBroken("entries.jsonl", "each entry once, in order", "an entry twice or out of order")
    _check_choice(listed, set(numbers), readings_from(links))
    return found, len(listed) - len(found)


def _check_choice(listed: Mapping[int, str], here: Container[int], first: int) -> None:
    """What is left out is of other jobs, or says nothing of the shed while the job ran."""
    rows = {number: line.split(",") for number, line in listed.items()}
    own = {row[3] for number, row in rows.items() if number in here and row[2] == EntryKind.JOB_OPEN}
    if len(own) != 1:
        raise RecordBroken("entries.jsonl", "the opening of one job", f"of {len(own)}")
    for number, (block, _, kind, owner, _) in rows.items():
        of_shed = owner == "-" and kind in SHED_WIDE and int(block) >= first
        if number not in here and (owner in own or of_shed):
            whose = "of the shed while the job ran" if of_shed else "of this job"
            raise RecordBroken(f"entry {number} ({kind})", f"every entry {whose}", "it is left out")


def _entry(line: str, listed: Mapping[int, str]) -> StoredEntry:
    try:
        found = entry.stored(line)
    except ValueError as trouble:
        raise RecordBroken("entries.jsonl", "a line of the logbook", line[:80]) from trouble
    ours = f"{found.block},{entry.digest_line(line)}".rstrip("\n")
    if listed.get(found.number) != ours:
        raise RecordBroken(
            f"entry {found.number} ({found.kind})", listed.get(found.number, "no such entry")[:200], ours
        )
    return found


def _check_chain(links: Sequence[Link], seal: Seal) -> None:
    """Steps 5 and 6: every head follows from its face, every block from the one before, up to the seal."""
    for before, (face, head, _) in zip((None, *links), links, strict=False):
        if before is not None and (face.number, face.previous) != (before.face.number + 1, before.head):
            raise RecordBroken(
                f"block {face.number}",
                f"block {before.face.number + 1} after head {before.head}",
                f"block {face.number} after head {face.previous}",
            )
        if chain.head(face) != head:
            raise RecordBroken(f"block {face.number}", f"head {chain.head(face)}", f"head {head}")
    last = links[-1]
    if (last.face.number, last.head) != (seal.block, seal.head):
        raise RecordBroken(
            "seal.txt", f"block {last.face.number}, head {last.head}", f"block {seal.block}, head {seal.head}"
        )


def _check_inner_seals(entries: Sequence[StoredEntry], links: Sequence[Link], key: str) -> list[Seal]:
    """Step 7: seals made on the way hold too, as far as their block is here."""
    heads = {link.face.number: link.head for link in links}
    inner = []
    for one in entries:
        if one.kind == EntryKind.SEAL:
            seal = seal_of(one)
            check_signature(seal)
            if seal.public_key != key:  # else the code of an earlier seal would vouch for a forged one
                raise RecordBroken(f"entry {one.number} (seal)", f"key {key}", f"key {seal.public_key}")
            if heads.get(seal.block, seal.head) != seal.head:
                raise RecordBroken(
                    f"entry {one.number} (seal)", f"head {heads[seal.block]}", f"head {seal.head}"
                )
            inner.append(seal)
    return inner


def _text(files: Mapping[str, bytes], name: str) -> str:
    try:
        return files[name].decode("ascii")
    except UnicodeDecodeError as trouble:
        raise RecordBroken(name, "plain text", "bytes that are none") from trouble


def _table(text: str, name: str, header: str) -> list[str]:
    first, *lines = _lines(text, name) or [""]
    if first != header:
        raise RecordBroken(name, f"the heading {header}", first[:80])
    return lines


def _lines(text: str, name: str) -> list[str]:
    *lines, end = text.split("\n")
    if end:
        raise RecordBroken(name, "a line feed at the end", end[:80])
    return lines
