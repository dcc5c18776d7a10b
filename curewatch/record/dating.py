"""Who dated a record, in one line: an authority, for all of it or a part; or nobody else than its owner."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from curewatch.clock import utc_from_iso
from curewatch.logbook import StoredEntry
from curewatch.logbook.sealing import Seal
from curewatch.logbook.stamping import Stamp, check, stamps

CLOCKS_APART = 120.0  # s that two clocks may differ by


class Dated(NamedTuple):
    """A seal of this record that an authority dated."""

    stamp: Stamp
    code: str
    block: int  # up to which everything is dated
    whole: bool  # the seal of the record itself
    ahead: bool  # that seal names a later time than who dated it


def dated_of(
    files: Mapping[str, bytes],
    entries: Sequence[StoredEntry],
    seals: Sequence[Seal],
    final: Seal,
    roots: bytes | None = None,
) -> tuple[Dated, ...]:
    """Every stamp of this record, the latest block first; ``roots`` are trusted in place of those it names.

    Raises
    ------
    RecordBroken
        One of them does not hold.
    """
    of = {one.digest: one for one in seals}
    found = [_dated(one, of[one.digest]) for one in stamps(entries, roots) if one.digest in of]
    if files["seal.tsr"]:
        own = check(files["seal.tsr"], final.digest, roots or files["authority.pem"])
        found.append(_dated(own, final, whole=True))
    return tuple(sorted(found, key=lambda one: one.block, reverse=True))


def _dated(stamp: Stamp, seal: Seal, *, whole: bool = False) -> Dated:
    ahead = utc_from_iso(seal.at) - utc_from_iso(stamp.at) > CLOCKS_APART
    return Dated(stamp, seal.code, seal.block, whole, ahead)


def dated_line(found: Sequence[Dated]) -> str:
    """Who dated what."""
    if not found:
        return "Dated by nobody else: the time of this seal is its owner's word."
    stamp, what = found[0].stamp, f"block {found[0].block}"
    said = f"was there on {stamp.at}: so says {stamp.by} (root certificate {stamp.root[:16]})."
    if found[0].ahead:
        said += " The seal names a later time: its clock was ahead."
    if found[0].whole:
        return f"Dated by somebody else: this seal {said}"
    return f"Dated in part: all up to {what} {said} What came later is dated by nobody else."
