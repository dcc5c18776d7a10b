"""What a shed with its own daemon sends to a fleet, and what it makes of the answers: no input or output.

Theory of operation
-------------------
A :class:`Sending` asks where the copy stands, and from there on sends one closed block after the other, each
when the one before was answered. The logbook is the only memory. So whatever is lost on the way is sent
again, and a repeat is harmless. Now and then it asks again, so that a fork shows before the next block.

Law: what stands against the shed (:class:`CopyRefusal`) is written into its logbook when it changes. The
alert follows from there (``shed/copied``).
"""

from typing import NamedTuple

from curewatch.clock import Instant, iso_utc
from curewatch.errors import UsageError
from curewatch.fleet.copying import APART, CLOCK, FORKED, OLDER, CopyAnswer, CopyRefusal
from curewatch.fleet.envelope import about, seal_up
from curewatch.logbook import Entry, LogbookStore, heads
from curewatch.logbook.kinds import EntryKind
from curewatch.shed import copied
from curewatch.units import MINUTE

PATIENCE = 30.0  # for an answer, before it is sent again, twice as long each time; and after a refusal [s]
LONGEST_PATIENCE = 600.0  # for a fleet that has much to do [s]
EVERY = 5.0  # between two looks for a closed block [s]
ASK_EVERY = 15 * MINUTE  # where the copy stands [s]
FORK_HERE = "two chains of this shed: {told}"


class _Sent(NamedTuple):
    about: str
    at: float  # monotonic [s]


class Sending:
    """One shed."""

    def __init__(self, shed: str, logbook: LogbookStore) -> None:
        self._shed = shed
        self._logbook = logbook
        self._next: int | None = None  # block; None: where the copy stands is not known
        self._sent: _Sent | None = None  # waits for its answer
        self._not_before = 0.0  # monotonic [s]
        self._asked = 0.0  # monotonic [s]
        self._patience = PATIENCE
        self._listed = ""
        self.kept = 0

    def due(self, now: Instant) -> bytes | None:
        """The next envelope, if one is to be sent now."""
        if self._sent is not None and now.monotonic - self._sent.at < self._patience:
            return None
        if self._sent is not None:
            self._next, self._sent = None, None
            self._patience = min(2 * self._patience, LONGEST_PATIENCE)
        elif now.monotonic < self._not_before:
            return None
        self._not_before = now.monotonic + EVERY
        closed = self._logbook.head().block - 1  # the newest may be open
        if self._next is None or now.monotonic - self._asked > ASK_EVERY:
            self._asked = now.monotonic
            return self._sealed(max(0, closed), b"", now)
        return self._block(self._next, now) if self._next <= closed else None

    def _block(self, number: int, now: Instant) -> bytes | None:
        try:
            return self._sealed(number, self._logbook.block_bytes(number), now)
        except UsageError as trouble:
            self._tell(CopyRefusal("pruned", str(trouble)), now)
            self._not_before = now.monotonic + PATIENCE
            return None

    def _sealed(self, block: int, parcel: bytes, now: Instant) -> bytes:
        made = seal_up(self._logbook, self._shed, block, parcel, now.utc)
        self._sent = _Sent(about(made), now.monotonic)
        return made

    def answered(self, answer: CopyAnswer, now: Instant) -> None:
        """What the fleet says; an answer to anything but the last envelope says nothing.

        Raises
        ------
        StoreFailed
            It could not be written down; it is asked for again.
        """
        if self._sent is None or answer.about != self._sent.about:
            return
        self._sent, self._next = None, None
        self._patience = max(self._patience / 2, PATIENCE)
        against = self._against(answer, now)
        self._tell(against, now)
        if answer.listed and answer.listed != self._listed:
            heads.tell(self._logbook, answer.listed, now.utc)  # once: its key is the code
            self._listed = answer.listed
        self.kept += answer.kept
        if against is None or (against.code == "fork" and answer.refusal is None):
            self._next, self._not_before = answer.block + 1, now.monotonic
        else:
            self._not_before = now.monotonic + PATIENCE

    def _against(self, answer: CopyAnswer, now: Instant) -> CopyRefusal | None:
        if abs(answer.at - now.utc) > APART:
            told = CLOCK.format(theirs=iso_utc(now.utc), ours=iso_utc(answer.at))
            return CopyRefusal("clock", told)
        if answer.refusal is not None and answer.refusal.code != "clock":  # else it came late
            return answer.refusal
        if answer.fork:
            return CopyRefusal("fork", FORK_HERE.format(told=answer.fork))
        last = self._logbook.head().block
        if answer.block > last:
            return CopyRefusal("older", OLDER.format(block=last, last=answer.block))
        ours = self._logbook.block_head(answer.block)
        if answer.block < last and ours != answer.head:
            told = FORKED.format(block=answer.block, theirs=ours[:16], ours=answer.head[:16])
            return CopyRefusal("fork", told)
        return None

    def _tell(self, against: CopyRefusal | None, now: Instant) -> None:
        """Into the logbook, where it changed: the entry, and the note that the alert hangs on."""
        code = "" if against is None else against.code
        before = copied.against(self._logbook)
        if code == ("" if before is None else before.code):
            return
        told = {"what": "copy", "against": code, "told": "" if against is None else against.told}
        entry = Entry(EntryKind.DAEMON, told, now.utc)
        self._logbook.append(entries=[entry], notes={copied.NOTE: copied.note(code, told["told"])})
