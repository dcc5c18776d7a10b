"""The part of a record that proves: files that anybody can check with sha256sum and openssl.

Theory of operation
-------------------
The files hold the chain of the logbook (``logbook.chain``) from the first block that the job needs
to the sealed one: every reading of those blocks as the line that was hashed, every entry of the job
and of the shed as the line that was hashed, the digest alone of what belongs to other jobs, the
face of each block, the seal and the key. ``files.sha256`` lists them all and is signed. ``check.sh``
checks them without this program; ``verification`` does the same and names what is wrong.

Law: every byte of every file is fixed by the seal or by the signature of ``files.sha256``.
"""

from collections.abc import Mapping
from hashlib import sha256
from importlib import resources
from typing import NamedTuple

from curewatch import worklog
from curewatch.errors import RecordBroken
from curewatch.logbook import EntryKind, LogbookStore, StoredEntry, columns, entry, rows
from curewatch.logbook.keys import signing_key
from curewatch.logbook.sealing import Seal
from curewatch.logbook.stamping import Stamp
from curewatch.shed import learnt

LISTED = (
    "README.txt",
    "check.sh",
    "account.json",
    "pages.json",
    "entries.jsonl",
    "readings.csv",
    "blocks.csv",
    "digests.csv",
    "seal.txt",
    "seal.sig",
    "key.pem",
    "seal.tsr",  # empty where nobody dated the seal
    "authority.pem",
)
TOOLS = ("README.txt", "check.sh")
FILES = (*LISTED, "files.sha256", "files.sig")
BLOCKS_HEADER = "block,previous,readings,readings_digest,entries,entries_digest,head,readings_are,form"
DIGESTS_HEADER = "block,entry,kind,owner,digest"
SHED_WIDE = (  # entries of no job that say what the shed and its sensors went through
    *("daemon", "dropped", "health", "sensor", "source"),
    EntryKind.ALERT,
    EntryKind.CLOCK,
    EntryKind.CONFIGURATION,
    EntryKind.GAP,
    EntryKind.KEY,
    EntryKind.PRUNE,
    EntryKind.REJECTED,
    EntryKind.RESTORED,
    EntryKind.SEAL,
    EntryKind.SENSOR_CHECK,
    EntryKind.STAMP,
)
LOOKED_BACK_FOR = (
    EntryKind.CONFIGURATION,
    EntryKind.SENSOR_CHECK,
)  # what held when the job began was written before


class ProofWindow(NamedTuple):
    """Which part of the logbook a record holds."""

    first: int  # block
    readings_from: int  # block from which on the readings are there; before it, their digest
    last: int  # block, the sealed one
    entries: tuple[StoredEntry, ...]  # in full


def window(logbook: LogbookStore, job: str, last: int, start: float, end: float) -> ProofWindow:
    """The part of the logbook for a job whose readings matter from ``start`` to ``end``. UTC [s]"""
    between = logbook.blocks_between(start, end)
    own = [one for one in logbook.entries(job=job) if one.block <= last]
    readings_from = min((one.block for one in own), default=last)
    if between:
        readings_from = min(readings_from, between[0])
    readings_from = _stepped_back(logbook, readings_from, start)
    shed = [
        one for one in logbook.entries(SHED_WIDE) if one.job is None and readings_from <= one.block <= last
    ]
    before = _last_before(logbook, readings_from)
    numbered = {one.number: one for one in (*own, *shed, *before, *_of_lots(logbook, job, last))}
    entries = tuple(numbered[number] for number in sorted(numbered))
    first = min(readings_from, *(one.block for one in entries))
    for number in sorted(logbook.lost().blocks() & set(range(first, last + 1))):
        raise RecordBroken(f"block {number}", "a whole block, as the record needs it", "lost in damage")
    return ProofWindow(first, readings_from, last, entries)


def _stepped_back(logbook: LogbookStore, block: int, start: float) -> int:
    """Back to a block that began to arrive before ``start``: so nobody can leave the ones after it out."""
    while block > 1:
        held = next(iter(logbook.block_rows(block, block)), None)
        if held is None or (len(held.rows) and int(held.rows["received"].min()) < start * 1000):
            break
        block -= 1
    return block


def _of_lots(logbook: LogbookStore, job: str, last: int) -> list[StoredEntry]:
    """What was observed of the job's lots, in other jobs too: its layers were reckoned with it."""
    layers = [told.payload for told in worklog.read(logbook, job).of(EntryKind.LAYER)]
    lots = {(str(one.get("resin")), one.get("lot")) for one in layers}
    seen = {number for resin, lot in lots for number, _ in learnt.observations(logbook, resin, lot)}
    told = logbook.entries((EntryKind.OBSERVATION, EntryKind.CORRECTION))
    return [one for one in told if one.block <= last and ({one.number, one.payload.get("corrects")} & seen)]


def _last_before(logbook: LogbookStore, block: int) -> list[StoredEntry]:
    """The last configuration, and the last check of each sensor, that stood when the block began."""
    last: dict[tuple[str, object], StoredEntry] = {}
    for one in logbook.entries(LOOKED_BACK_FOR):
        if one.block < block:
            last[one.kind, one.payload.get("sensor")] = one
    return list(last.values())


def proof_files(
    logbook: LogbookStore,
    part: ProofWindow,
    seal: Seal,
    said: Mapping[str, bytes],
    stamp: Stamp | None = None,
) -> dict[str, bytes]:
    """Every file of the proof by its name; ``said`` is what the pages say: account.json and pages.json."""
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    key = signing_key(logbook)
    public = key.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    files = {
        "README.txt": shipped("README.txt"),
        "check.sh": shipped("check.sh"),
        "account.json": said["account.json"],
        "pages.json": said["pages.json"],
        "entries.jsonl": "".join(one.line + "\n" for one in part.entries).encode(),
        "readings.csv": _readings(logbook, part),
        "blocks.csv": _blocks(logbook, part),
        "digests.csv": _digests(logbook, part),
        "seal.txt": seal.text.encode(),
        "seal.sig": bytes.fromhex(seal.signature),
        "key.pem": public,
        "seal.tsr": stamp.response if stamp else b"",
        "authority.pem": stamp.roots if stamp else b"",
    }
    listed = checksums(files)
    return {**files, "files.sha256": listed, "files.sig": key.sign(listed)}


def shipped(name: str) -> bytes:
    """A file that comes with this package."""
    return (resources.files("curewatch.record") / "files" / name).read_bytes()


def published(name: str) -> set[str]:
    """The SHA-256 of this file in every edition of this program."""
    rows = (line.split("  ") for line in shipped("published.sha256").decode().splitlines())
    return {digest for digest, *names in rows if names == [name]}


def checksums(files: Mapping[str, bytes]) -> bytes:
    """The files and their SHA-256, in the form of sha256sum."""
    return "".join(f"{sha256(content).hexdigest()}  {name}\n" for name, content in files.items()).encode()


def _readings(logbook: LogbookStore, part: ProofWindow) -> bytes:
    tokens = logbook.tokens()
    found = list(logbook.block_rows(part.readings_from, part.last))
    form = columns.form(max((one.form for one in found), default=1))
    texts = [rows.lines(*one, tokens) for one in found]
    return "".join([form.heading + "\n", *texts]).encode()


def _blocks(logbook: LogbookStore, part: ProofWindow) -> bytes:
    left = {one.block for one in logbook.block_rows(part.readings_from, part.last)}
    lines = [BLOCKS_HEADER + "\n"]
    for face, head in logbook.faces(part.first, part.last):
        held = "here" if face.number in left else "left out"
        lines.append(
            f"{face.number},{face.previous},{face.readings},{face.readings_digest},"
            f"{face.entries},{face.entries_digest},{head},{held},{face.form}\n"
        )
    return "".join(lines).encode()


def _digests(logbook: LogbookStore, part: ProofWindow) -> bytes:
    lines = (
        f"{one.block},{entry.digest_line(one.line)}"
        for one in logbook.entries()
        if part.first <= one.block <= part.last
    )
    return "".join([DIGESTS_HEADER + "\n", *lines]).encode()
