"""What a fleet keeps of a shed that has its own daemon: its closed blocks, as they came.

Theory of operation
-------------------
A shed sends envelopes (``envelope``) and hears a :class:`CopyAnswer` to each. A block is kept if it is signed
with the shed's key, sent within :data:`APART` of this clock, whole, and the next of the chain that is here.
Whatever else comes is refused by name and noted beside the copy, outside of its chain.

Law: nothing is kept that does not follow, so a copy is the shed's own chain up to some block, or is empty.
Two chains of one shed are told to both from then on, until the operator settles it.
"""

import json
from collections.abc import Callable

from msgspec import Struct

from curewatch.clock import iso_utc
from curewatch.errors import RecordBroken
from curewatch.fleet.envelope import SignedBlock, keys_of, opened
from curewatch.logbook import LogbookStore, parcel
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.sealing import check_seal, seal_of

APART = 600.0  # between a shed's clock and ours [s]
TROUBLE, FORK, LISTED = "copy trouble", "copy fork", "copy listed"  # notes beside the copy

FORKED = "two chains of one shed: block {block} is {theirs} there and {ours} here"
OLDER = "the shed's chain ends at block {block}, the copy at {last}: an older logbook, or another shed's name"
OF_ANOTHER = "signed by another key than the shed's: {key}"
MIXED = "sent as the shed {found}, come as {shed}"
CLOCK = "the shed's clock is at {theirs}, the fleet's at {ours}"


class CopyRefusal(Struct, frozen=True):
    """Why a shed's message was not followed."""

    code: str  # fork, older, key, shed, clock, broken
    told: str


class CopyAnswer(Struct, frozen=True):
    """What the shed is told."""

    shed: str
    about: str  # of the envelope; empty where it could not be read
    kept: bool  # a block that was new
    block: int  # the last of the copy
    head: str
    at: float  # UTC, of the fleet's clock [s]
    refusal: CopyRefusal | None
    fork: str  # two chains came under this name; in words
    listed: str = ""  # code of the last list of heads that has this copy's


class CopyIntake:
    """One shed's copy."""

    def __init__(self, shed: str, pinned: str, opening: Callable[[], LogbookStore]) -> None:
        self._shed = shed
        self._pinned = pinned
        self._opening = opening
        self._logbook: LogbookStore | None = None
        self.kept = 0
        self.refused = 0

    def answer(self, content: bytes, now: float) -> CopyAnswer:
        """Take one envelope. UTC [s]

        Raises
        ------
        StoreFailed
            Nothing of it is kept: it may be offered again.
        """
        if self._logbook is None:
            self._logbook = self._opening()
        logbook, about = self._logbook, ""
        try:
            one = opened(content)
            about = one.about
            refusal = self._against(logbook, one, now)
            kept = refusal is None and bool(one.parcel) and logbook.take_block(one.parcel)
        except RecordBroken as trouble:
            refusal, kept = CopyRefusal("broken", str(trouble)[:400]), False
        self._note(logbook, refusal, now)
        self.kept += kept
        self.refused += refusal is not None
        last = last_block(logbook)
        fork, listed = _noted(logbook, FORK), (logbook.note(LISTED) or b"").decode()
        return CopyAnswer(
            self._shed,
            about,
            kept,
            last,
            logbook.block_head(last),
            now,
            refusal,
            fork.get("told", ""),
            listed,
        )

    def _against(self, logbook: LogbookStore, one: SignedBlock, now: float) -> CopyRefusal | None:
        if one.shed != self._shed:
            return CopyRefusal("shed", MIXED.format(found=one.shed, shed=self._shed))
        known = keys_of(self._pinned, one)
        if one.key not in known[-1:]:
            return CopyRefusal("key", OF_ANOTHER.format(key=one.key))
        if abs(now - one.at) > APART:
            return CopyRefusal("clock", CLOCK.format(theirs=iso_utc(one.at), ours=iso_utc(now)))
        return self._of_chain(logbook, one) or (self._of_block(logbook, one, known) if one.parcel else None)

    @staticmethod
    def _of_chain(logbook: LogbookStore, one: SignedBlock) -> CopyRefusal | None:
        """Whether this is our chain, as far as both have it."""
        last = last_block(logbook)
        if one.block <= last and logbook.block_head(one.block) != one.head:
            return _forked(one.block, one.head, logbook.block_head(one.block))
        if one.block < last and not one.parcel:
            return CopyRefusal("older", OLDER.format(block=one.block, last=last))
        return None

    @staticmethod
    def _of_block(logbook: LogbookStore, one: SignedBlock, known: tuple[str, ...]) -> CopyRefusal | None:
        """Whether it is the block that it is said to be, follows ours, and has seals of the shed alone."""
        taken, last = parcel.unpack(one.parcel), last_block(logbook)
        if (taken.face.number, taken.head) != (one.block, one.head):
            return CopyRefusal("broken", f"block {taken.face.number} sent as block {one.block}")
        ours = logbook.block_head(last)
        if one.block == last + 1 and taken.face.previous != ours:
            return _forked(last, taken.face.previous, ours)
        if one.block > last + 1:
            return CopyRefusal("broken", f"block {one.block} after block {last}")
        for each in taken.entries:
            if each.kind == EntryKind.SEAL:
                seal = seal_of(each)
                if seal.public_key not in known:
                    return CopyRefusal("key", OF_ANOTHER.format(key=seal.public_key))
                check_seal(seal, logbook.block_head(seal.block), seal.public_key)
        return None

    @staticmethod
    def _note(logbook: LogbookStore, refusal: CopyRefusal | None, now: float) -> None:
        """What stands against this shed, beside its copy: written where it changed."""
        told = {} if refusal is None else {"code": refusal.code, "told": refusal.told}
        before = _noted(logbook, TROUBLE)
        notes: dict[str, bytes] = {}
        if told != {key: before[key] for key in before if key != "at"}:
            notes[TROUBLE] = _plain({**told, "at": now} if told else {})
        if refusal is not None and refusal.code == "fork" and not _noted(logbook, FORK):
            notes[FORK] = _plain({**told, "at": now})
        if notes:
            logbook.append(notes=notes)

    def close(self) -> None:
        """Leave the logbook."""
        if self._logbook is not None:
            self._logbook.close()


def last_block(logbook: LogbookStore) -> int:
    """The last block of a copy: all are closed."""
    faces = logbook.faces(logbook.head().block)
    return faces[-1][0].number if faces else 0


def trouble_of(logbook: LogbookStore) -> tuple[CopyRefusal, float] | None:
    """What stands against this shed, and since when: a fork before all else. UTC [s]"""
    told = _noted(logbook, FORK) or _noted(logbook, TROUBLE)
    return (CopyRefusal(told["code"], told["told"]), float(told["at"])) if told else None


def settle(logbook: LogbookStore) -> None:
    """The operator has looked: what stood against the shed is let go; it comes back if it is still so."""
    logbook.append(notes={TROUBLE: _plain({}), FORK: _plain({})})


def _forked(block: int, theirs: str, ours: str) -> CopyRefusal:
    return CopyRefusal("fork", FORKED.format(block=block, theirs=theirs[:16], ours=ours[:16]))


def _noted(logbook: LogbookStore, key: str) -> dict[str, str]:
    return dict(json.loads(logbook.note(key) or b"{}"))


def _plain(told: dict[str, object]) -> bytes:
    return json.dumps(told, sort_keys=True).encode()
