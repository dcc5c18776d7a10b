"""Do the pages follow from the evidence? Account and pages are made again from the lines, and compared.

Law: what the chain was told before the seal is what these lines give. So neither a changed page nor one
that was signed anew passes, whoever holds the key.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from hashlib import sha256
from typing import NamedTuple

from curewatch.clock import iso_utc
from curewatch.errors import CurewatchError, RecordBroken
from curewatch.logbook import EntryKind, StoredEntry, chain
from curewatch.logbook.sealing import Seal
from curewatch.logbook.series import BlockRows
from curewatch.record.account import BEFORE, Account, Until, account_of
from curewatch.record.edition import edition
from curewatch.record.page import Pages
from curewatch.record.pages import OutsideSeal, sealed
from curewatch.record.proof import ProofWindow
from curewatch.record.telling import reader_of, told
from curewatch.wording import Wording

AROUND = 120.0  # s that a reading may have arrived before the account and stand after it


class OtherEdition(RecordBroken):
    """The pages are of another edition of this program, which reckons otherwise."""


class Link(NamedTuple):
    """One line of blocks.csv."""

    face: chain.Face
    head: str
    readings_are_here: bool


class LeftOut(NamedTuple):
    """A run of blocks whose readings are not here, and the times of arrival it lies between. UTC [s]"""

    first: int
    last: int
    after: float | None
    before: float | None


class Lines(NamedTuple):
    """What the checked files hold."""

    entries: Sequence[StoredEntry]
    blocks: Sequence[BlockRows]
    tokens: Mapping[int, str]
    links: Sequence[Link]


def readings_from(links: Sequence[Link]) -> int:
    """The block from which on the readings are here."""
    return next((link.face.number for link in links if link.readings_are_here), links[-1].face.number + 1)


def check_said(files: Mapping[str, bytes], lines: Lines, seal: Seal, dated: str) -> Pages:
    """Step 8: what is said is what the chain was told, and what the lines give; the pages as they must be.

    Raises
    ------
    RecordBroken
        Names the file or entry.
    OtherEdition
        Another edition reckoned it, and this one does not give the same.
    """
    entry = _account_entry(lines, seal)
    for name, key in (("account.json", "account"), ("pages.json", "pages")):
        digest = sha256(files[name]).hexdigest()
        if digest != entry.payload.get(key):
            raise RecordBroken(name, f"digest {entry.payload.get(key)}, which is sealed", f"digest {digest}")
    written_by = str(entry.payload.get("edition"))[:40]
    try:
        account, reader = _account(lines, entry, seal)
        said, data = told(account, reader)
    except (CurewatchError, KeyError, TypeError, ValueError, ArithmeticError, AttributeError) as trouble:
        _must_be_this(written_by)
        raise RecordBroken(
            f"entry {entry.number} (account)", "an account that can be made again", f"{trouble!r}"[:120]
        ) from trouble
    _check_reach(lines, account)
    for name, content in data.items():
        if files[name] != content:
            _must_be_this(written_by)
            raise RecordBroken(
                name,
                f"what readings and entries give: {_difference(content, files[name])}",
                f"what edition {written_by} wrote; this is {edition()}",
            )
    carried = OutsideSeal(dated, sum(len(one.rows) for one in lines.blocks), len(lines.entries))
    return sealed(said, seal, carried, account, reader)


def _must_be_this(written_by: str) -> None:
    """Raise :class:`OtherEdition` unless this program reckoned it: only then is another outcome a fault."""
    if written_by != edition():
        raise OtherEdition(
            "the pages",
            f"what edition {edition()} reckons, which is this program",
            f"what edition {written_by} reckoned; all else holds. Use that edition to reckon it again",
        )


def _account(lines: Lines, entry: StoredEntry, seal: Seal) -> tuple[Account, Wording]:
    resins = {str(name): str(text) for name, text in dict(entry.payload["resins"]).items()}
    first = readings_from(lines.links)
    part = ProofWindow(lines.links[0].face.number, first, seal.block, tuple(lines.entries))
    until = Until(entry.block - 1, seal.at)
    account = account_of(part, lines.blocks, lines.tokens, name=str(entry.job), until=until, resins=resins)
    return account, reader_of(dict(entry.payload["units"]))


def _difference(ours: bytes, theirs: bytes) -> str:
    rows = zip(ours.decode().splitlines(), theirs.decode(errors="replace").splitlines(), strict=False)
    return next((f"{a.strip()[:60]}, not {b.strip()[:60]}" for a, b in rows if a != b), "more, or less")


def _account_entry(lines: Lines, seal: Seal) -> StoredEntry:
    """The entry that was written just before the seal; nothing of the job, and no older reading, after it."""
    found = [one for one in lines.entries if one.kind == EntryKind.ACCOUNT]
    if not found or seal.reason != "record":
        raise RecordBroken("seal.txt", "the seal of a record, after its account in the chain", "none")
    entry = found[-1]
    late = [
        f"entry {one.number}"
        for one in lines.entries
        if one.job == entry.job and one.block >= entry.block and one != entry
    ]
    late += [
        f"block {one.block}"
        for one in lines.blocks
        if one.block >= entry.block and _begun(one) < entry.at - AROUND
    ]
    if iso_utc(entry.at) != seal.at or entry.payload.get("block") != entry.block - 1:
        late.append("another time or block")
    if late:
        raise RecordBroken(f"entry {entry.number} (account)", "everything before it in the account", late[0])
    return entry


def _begun(one: BlockRows) -> float:
    """When the first of a block's readings arrived; never, if it has none. UTC [s]"""
    return float(one.rows["received"].min()) / 1e3 if len(one.rows) else float("inf")


def _check_reach(lines: Lines, account: Account) -> None:
    """The readings begin with the chain, or with a block older than what is judged, or after pruned ones."""
    first, last = readings_from(lines.links), lines.links[-1].face.number
    pruned = set(_pruned(lines.entries, last))
    here = next((one for one in lines.blocks if len(one.rows)), None)
    begun = here is not None and _begun(here) < account.start - BEFORE
    if first != 1 and not begun and first - 1 not in pruned:
        raise RecordBroken(f"readings of block {first - 1}", "those of the day before the job", "left out")
    for link in lines.links:
        number = link.face.number
        if number > first and not link.readings_are_here and number not in pruned:
            raise RecordBroken(f"readings of block {number}", "all while the job ran", "left out")


def _pruned(entries: Sequence[StoredEntry], last: int) -> Iterator[int]:
    """Blocks that entries say were pruned; an entry of other words names none."""
    for one in entries:
        if one.kind == EntryKind.PRUNE:
            with suppress(TypeError, ValueError, OverflowError):
                for start, end in one.payload.get("blocks", ()):
                    yield from range(int(start), min(int(end), last) + 1)


def left_out_blocks(links: Sequence[Link], blocks: Sequence[BlockRows]) -> tuple[LeftOut, ...]:
    """Runs of blocks whose readings are left out, and between which times of arrival they lie."""
    edges = {
        one.block: (float(one.rows["received"][0]) / 1e3, float(one.rows["received"][-1]) / 1e3)
        for one in blocks
        if len(one.rows)
    }
    runs: list[tuple[int, int]] = []
    for link in links:
        number = link.face.number
        if link.readings_are_here:
            continue
        if runs and runs[-1][1] == number - 1:
            runs[-1] = runs[-1][0], number
        else:
            runs.append((number, number))
    return tuple(
        LeftOut(
            first,
            last,
            max((edges[number][1] for number in edges if number < first), default=None),
            min((edges[number][0] for number in edges if number > last), default=None),
        )
        for first, last in runs
    )
