"""Does a record prove what it says? The same steps as ``files/check.sh``, naming what is wrong.

A record is data from outside: names are looked up, never followed; sizes are bounded; whatever does
not parse is a :class:`RecordBroken`, never a traceback.
"""

import base64
import json
import re
from collections.abc import Container, Mapping, Sequence
from hashlib import sha256
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.clock import iso_utc, utc_from_iso
from curewatch.errors import RecordBroken, UsageError
from curewatch.logbook import EntryKind, StoredEntry, chain, columns, entry
from curewatch.logbook.keys import KeyChange, check_signature, is_key
from curewatch.logbook.seal_code import read_code
from curewatch.logbook.sealing import Seal, Signed, parse
from curewatch.logbook.sealing import check_signed as check_signed_entries
from curewatch.logbook.series import BlockRows
from curewatch.record.dating import Dated, dated_line, dated_of
from curewatch.record.evidence import BlockLines, read_rows
from curewatch.record.page import Pages
from curewatch.record.proof import (
    BLOCKS_HEADER,
    DIGESTS_HEADER,
    FILES,
    LISTED,
    SHED_WIDE,
    TOOLS,
    checksums,
    published,
)
from curewatch.record.reckoning import (
    LeftOut,
    Lines,
    Link,
    OtherEdition,
    check_said,
    left_out_blocks,
    readings_from,
)

# characters of a line, so that no file holds more lines than its size can bear
SHORTEST = {"readings.csv": 50, "blocks.csv": 200, "digests.csv": 70, "entries.jsonl": 100}
LONGEST_READING = 2000  # characters of a line of readings.csv
DEEPEST, LONGEST_NAME = 64, 2000  # of a line: values in values, and letters of a name in it as it is written
_NUMBER = re.compile(r"0|[1-9][0-9]{0,14}")
_LISTED = re.compile(rf"(?:{_NUMBER.pattern}),[A-Za-z0-9 -]{{1,200}},(?:-|[0-9a-f]{{32}}),[0-9a-f]{{64}}")
_DIGEST = re.compile(r"[0-9a-f]{64}")
_PEM_BEGIN, _PEM_END = b"-----BEGIN PUBLIC KEY-----\n", b"\n-----END PUBLIC KEY-----\n"
_ED25519 = bytes.fromhex("302a300506032b6570032100")  # RFC 8410: what stands before the key's 32 bytes


class Holds(NamedTuple):
    """What a record proves."""

    seal: Seal
    codes: tuple[str, ...]  # of the final seal, then of the seals among its entries
    first_block: int
    readings: int
    entries: int
    left_out: int  # entries of other jobs, of which only the digest is there
    checked: Mapping[str, str]  # every file that was checked, with its SHA-256
    pages: Pages | None  # as they were made again from the evidence; none of another edition
    left_out_blocks: tuple[LeftOut, ...]
    key_changes: tuple[KeyChange, ...]
    dated: tuple[Dated, ...]  # the latest block first
    unmade: OtherEdition | None  # why the pages could not be made again


def verify_files(
    files: Mapping[str, bytes],
    *,
    code: str | None = None,
    key: str | None = None,
    roots: bytes | None = None,
) -> Holds:
    """Check the files of a proof; a seal code or a key that was written down before must be theirs.

    ``roots`` are certificates in PEM form: time stamps must lead to them, not to those the record names.

    Raises
    ------
    RecordBroken
        Names the file, block or entry, what was expected and what was found.
    """
    return settled(examined(files, code=code, key=key, roots=roots))


def settled(holds: Holds) -> Holds:
    """What holds as a whole. Pages that could not be made again do not, whatever else does."""
    if holds.unmade is not None:
        raise holds.unmade
    return holds


def examined(files: Mapping[str, bytes], *, code: str | None, key: str | None, roots: bytes | None) -> Holds:
    """As :func:`verify_files`; where another edition reckoned the pages, all but these was checked."""
    _check_list(files)
    _check_tools(files)
    seal = _check_seal(files)
    links = _links(_text(files, "blocks.csv"))
    readings, blocks, tokens = _check_readings(files["readings.csv"], links)
    entries, left_out = _check_entries(files, links)
    _check_chain(links, seal)
    signed = _check_inner(entries, links, seal.public_key)
    inner = signed.seals
    dated = dated_of(files, entries, inner, seal, roots)
    if roots is not None and not dated:
        raise RecordBroken("seal.tsr", "a time stamp by the authority that was given", "none")
    codes = (seal.code, *(one.code for one in inner))
    if code is not None and read_code(code) not in (*codes, *(one.digest for one in (seal, *inner))):
        raise RecordBroken(
            f"seal code {read_code(code)}", "a seal of this record with this code", ", ".join(codes)
        )
    if key is not None and not is_key(seal.public_key, key):
        raise RecordBroken("key.pem", f"key {key}", f"key {seal.public_key}")
    whole, unmade = None, None
    try:
        whole = check_said(files, Lines(entries, blocks, tokens, links), seal, dated_line(dated))
    except OtherEdition as trouble:
        unmade = trouble
    digests = {name: sha256(files[name]).hexdigest() for name in FILES}
    blocks_out = left_out_blocks(links, blocks)
    return Holds(
        seal,
        codes,
        links[0].face.number,
        readings,
        len(entries),
        left_out,
        digests,
        whole,
        blocks_out,
        tuple(signed.changes),
        dated,
        unmade,
    )


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


def _check_tools(files: Mapping[str, bytes]) -> None:
    """The check and its page of words came from the record's maker: they must be ours."""
    for name in TOOLS:
        digest = sha256(files[name]).hexdigest()
        if digest not in published(name):
            raise RecordBroken(name, "one that was published with this program, or an older one", digest)


def _check_seal(files: Mapping[str, bytes]) -> Seal:
    """Step 2: the seal was signed with the key at hand, and names it."""
    _check_signed(files, "seal.txt", "seal.sig")
    seal = parse(_text(files, "seal.txt"), files["seal.sig"].hex())
    public = public_key(files["key.pem"])
    if seal.public_key != public:
        raise RecordBroken("seal.txt", f"key {public}", f"key {seal.public_key}")
    return seal


def public_key(pem: bytes) -> str:
    """The raw Ed25519 key of a PEM file as this program writes it, hexadecimal."""
    try:
        der = base64.b64decode(pem.removeprefix(_PEM_BEGIN).removesuffix(_PEM_END))
    except ValueError:
        der = b""
    if len(der) != 44 or pem != _PEM_BEGIN + base64.b64encode(der) + _PEM_END or not der.startswith(_ED25519):
        raise RecordBroken("key.pem", "an Ed25519 public key as this program writes it", "something else")
    return der.removeprefix(_ED25519).hex()


def _check_signed(files: Mapping[str, bytes], name: str, signature: str) -> None:
    check_signed(files[name], files[signature], public_key(files["key.pem"]), name)


def check_signed(content: bytes, signature: bytes, public: str, name: str) -> None:
    """Raise RecordBroken unless this content was signed with this key."""
    check_signature(content, signature.hex(), public, name)


def _links(text: str) -> list[Link]:
    links = []
    for number, line in enumerate(_table(text, "blocks.csv", BLOCKS_HEADER), 2):
        cells = line.split(",")
        if len(cells) != 9 or not all(_NUMBER.fullmatch(cells[n]) for n in (0, 2, 4, 8)):
            raise RecordBroken(f"blocks.csv line {number}", "a block", line[:80])
        if not all(_DIGEST.fullmatch(cells[n]) for n in (1, 3, 5, 6)):
            raise RecordBroken(f"blocks.csv line {number}", "digests of 64 hexadecimal digits", line[:80])
        block, previous, readings, readings_digest, entries, entries_digest, head, held, form = cells
        if held not in ("here", "left out"):
            raise RecordBroken(f"blocks.csv line {number}", "readings that are here, or left out", held[:80])
        counted = int(readings), readings_digest, int(entries), entries_digest
        face = chain.Face(int(form), int(block), previous, *counted)
        links.append(Link(face, head, held == "here"))
    if not links:
        raise RecordBroken("blocks.csv", "at least one block", "none")
    return links


def _check_readings(content: bytes, links: Sequence[Link]) -> tuple[int, list[BlockRows], dict[int, str]]:
    """Step 3: block after block, as many lines as it has, with its digest."""
    ends = _line_ends(content, _heading(links))
    here, at, held = [link.face for link in links if link.readings_are_here], 0, []
    for face in here:
        last = min(at + face.readings, ends.size - 1)
        lines = content[int(ends[at]) : int(ends[last])]
        if (last - at, sha256(lines).hexdigest()) != (face.readings, face.readings_digest):
            raise RecordBroken(
                f"readings of block {face.number}",
                f"{face.readings} readings with digest {face.readings_digest}",
                f"{last - at} with digest {sha256(lines).hexdigest()}",
            )
        held.append(BlockLines(face.number, face.form, lines))
        at = last
    if at != ends.size - 1:
        raise RecordBroken("readings.csv", "readings of the blocks listed", f"{ends.size - 1 - at} more")
    return at, *read_rows(held)


def _line_ends(content: bytes, heading: str) -> NDArray[np.intp]:
    """Where the heading ends, and each line; lines too short or long are refused before they are read."""
    text = np.frombuffer(content, np.uint8)
    if not content.startswith(f"{heading}\n".encode()):
        raise RecordBroken("readings.csv", f"the heading {heading}", f"{content[:80]!r}")
    if text[-1] != ord("\n"):
        raise RecordBroken("readings.csv", "a line feed at the end", f"{content[-80:]!r}")
    ends: NDArray[np.intp] = np.flatnonzero(text == ord("\n")) + 1
    lengths = np.diff(ends)
    if ends.size > 1 and not SHORTEST["readings.csv"] <= lengths.min() <= lengths.max() <= LONGEST_READING:
        raise RecordBroken("readings.csv", "lines of readings", "a longer or shorter one")
    return ends


def _heading(links: Sequence[Link]) -> str:
    """The columns of the newest form among the blocks whose readings are here."""
    forms = [link.face.form for link in links if link.readings_are_here]
    try:
        return columns.form(max(forms, default=1)).heading
    except ValueError as trouble:
        raise RecordBroken("blocks.csv", "forms of this version; update curewatch", f"{trouble}") from trouble


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
    if not _is_canonical(line):
        raise RecordBroken(f"entry {found.number} ({found.kind})", "as this program writes it", line[:80])
    ours = f"{found.block},{entry.digest_line(line)}".rstrip("\n")
    if listed.get(found.number) != ours:
        raise RecordBroken(
            f"entry {found.number} ({found.kind})", listed.get(found.number, "no such entry")[:200], ours
        )
    return found


def _is_canonical(line: str) -> bool:
    """Whether these are its only letters, as many as check.sh reads; a time, too, has many ways."""
    try:
        told = json.loads(line)
        times = (told["at"], told["recorded"])
        same = entry.canonical(told) == line and all(iso_utc(utc_from_iso(one)) == one for one in times)
        return same and _is_bounded(told, DEEPEST)
    except (UsageError, RecursionError):
        return False


def _is_bounded(value: object, deep: int) -> bool:
    """Whether values lie in at most so many others, and no name is longer than any that is used."""
    if isinstance(value, dict):
        named = all(len(entry.canonical(name)) <= LONGEST_NAME + 2 for name in value)
        return deep > 0 and named and all(_is_bounded(each, deep - 1) for each in value.values())
    return not isinstance(value, list) or (deep > 0 and all(_is_bounded(each, deep - 1) for each in value))


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


def _check_inner(entries: Sequence[StoredEntry], links: Sequence[Link], key: str) -> Signed:
    """Step 7: seals made on the way hold too, as far as their block is here; each key follows the one before.

    Else the code of an earlier seal would vouch for a forged one.
    """
    heads = {link.face.number: link.head for link in links}
    inner = check_signed_entries(entries, lambda one: heads.get(one.block, one.head))
    if inner.key not in ("", key):
        raise RecordBroken("seal.txt", f"key {inner.key}, as the entries name it", f"key {key}")
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
    if (text.count("\n") - 1) * SHORTEST[name] > len(text):
        raise RecordBroken(name, f"lines of {SHORTEST[name]} characters or more", "shorter ones")
    *lines, end = text.split("\n")
    if end:
        raise RecordBroken(name, "a line feed at the end", end[:80])
    return lines
