"""The heads of all sheds in one signed list: one code that fixes every chain of a daemon.

Theory of operation: each shed's newest seal names its block and head. The list holds these lines, is signed
with the key of its first shed and may be dated by an authority, as a seal is. It is a file of its own, to be
kept elsewhere; its code is written into every shed's logbook. Who holds the list finds any chain that was
rewritten since, and that of a shed that is not there any more.
"""

import base64
import json
import os
import re
from collections.abc import Iterable, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from curewatch.clock import iso_utc
from curewatch.errors import RecordBroken, StoreFailed, UsageError, reason
from curewatch.logbook.entry import Entry
from curewatch.logbook.keys import check_signature, public_of, signing_key
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.opening import open_logbook
from curewatch.logbook.port import LogbookStore
from curewatch.logbook.seal_code import seal_code, seal_digest
from curewatch.logbook.sealing import check_seals, seals
from curewatch.logbook.stamping import Authority, Stamp, ask, check

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

LARGEST = 10_000_000  # bytes of a file
ALONE = "-"  # in the list, the shed of a daemon that has one

_TEXT = re.compile(
    r"curewatch heads 1\n"
    r"at (?P<at>[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z)\n"
    r"(?P<lines>(?:shed [A-Za-z-][A-Za-z0-9_-]{0,31} block [0-9]{1,15} head [0-9a-f]{64} seal [0-9A-Z-]+\n)+)"
    r"key (?P<key>[0-9a-f]{64})\n"
)


class ListedHead(NamedTuple):
    """One shed's newest seal."""

    shed: str  # "-" where there is one alone
    block: int
    head: str  # hexadecimal
    code: str  # of the seal


class HeadsList(NamedTuple):
    """One list. The text is what is signed; all else is read from it."""

    text: str
    signature: str  # hexadecimal
    stamp: Stamp | None
    at: str  # ISO 8601
    heads: tuple[ListedHead, ...]
    public_key: str  # hexadecimal

    @property
    def code(self) -> str:
        """What a person writes down."""
        return seal_code(self.text)


def parse(text: str, signature: str, stamp: Stamp | None = None) -> HeadsList:
    """A list from its text.

    Raises
    ------
    RecordBroken
        The text is not that of a list, or names a shed twice.
    """
    value = _TEXT.fullmatch(text)
    if value is None:
        raise RecordBroken("heads", "the lines of a list of heads", repr(text[:200]))
    words = (line.split(" ") for line in value["lines"].splitlines())
    heads = tuple(ListedHead(each[1], int(each[3]), each[5], each[7]) for each in words)
    if len({each.shed for each in heads}) < len(heads):
        raise RecordBroken("heads", "each shed once", "a shed told twice")
    return HeadsList(text, signature, stamp, value["at"], heads, value["key"])


def make(sheds: Mapping[str, LogbookStore], at: float) -> HeadsList:
    """The newest seal of each shed, signed with the key of the first one. ``at`` is UTC [s].

    Raises
    ------
    UsageError
        One was never sealed.
    """
    heads = [listed_head(label, logbook) for label, logbook in sheds.items()]
    return signed(heads, at, signing_key(next(iter(sheds.values()))))


def listed_head(label: str, logbook: LogbookStore) -> ListedHead:
    """The newest seal of a shed.

    Raises
    ------
    UsageError
        It was never sealed.
    """
    sealed = seals(logbook)
    if not sealed:
        raise UsageError(f"shed {label or ALONE}: found no seal. Use `curewatch logbook seal` first")
    return ListedHead(label or ALONE, sealed[-1].block, sealed[-1].head, sealed[-1].code)


def signed(heads: Iterable[ListedHead], at: float, signing: "Ed25519PrivateKey") -> HeadsList:
    """These heads in a list. ``at`` is UTC [s]."""
    lines = "".join(f"shed {one.shed} block {one.block} head {one.head} seal {one.code}\n" for one in heads)
    text = f"curewatch heads 1\nat {iso_utc(at)}\n{lines}key {public_of(signing)}\n"
    return parse(text, signing.sign(text.encode()).hex())


def check_list(listed: HeadsList, sheds: Mapping[str, LogbookStore], roots: bytes | None = None) -> None:
    """Walk every chain; each listed seal is in its shed's. A stamp is checked by ``roots`` or its own.

    Raises
    ------
    RecordBroken
        Names the first that does not hold: the signature, the stamp, a missing shed, a rewritten chain.
    """
    check_text(listed, roots)
    for place, each in enumerate(listed.heads):
        keys = check_head(each, sheds.get("" if each.shed == ALONE else each.shed))
        if place == 0 and listed.public_key not in keys:
            raise RecordBroken(f"heads ({listed.code})", "signed with the first shed's key", "another key")


def check_text(listed: HeadsList, roots: bytes | None = None) -> None:
    """The signature and the stamp; RecordBroken where one does not hold."""
    check_signature(listed.text.encode(), listed.signature, listed.public_key, f"heads ({listed.code})")
    if listed.stamp is not None:
        check(listed.stamp.response, seal_digest(listed.text), roots or listed.stamp.roots)


def check_head(each: ListedHead, logbook: LogbookStore | None) -> set[str]:
    """Walk one shed's chain; the keys that sealed it.

    Raises
    ------
    RecordBroken
        The shed is missing, or its chain is not what was listed.
    """
    name = f"shed {each.shed}"
    if logbook is None:
        raise RecordBroken(name, f"a logbook with head {each.head}", "no such shed in the configuration")
    logbook.verify()
    found = check_seals(logbook).seals
    if not any((one.block, one.head, one.code) == each[1:] for one in found):
        raise RecordBroken(name, f"the seal {each.code} of block {each.block}", "a chain without it")
    return {one.public_key for one in found}


# -- the file -------------------------------------------------------------------------------------


def save(file: Path, listed: HeadsList) -> None:
    """Whole or not at all."""
    stamp = None
    if listed.stamp is not None:
        response = base64.b64encode(listed.stamp.response).decode()
        stamp = {"response": response, "roots": listed.stamp.roots.decode("ascii")}
    said = json.dumps({"text": listed.text, "signature": listed.signature, "stamp": stamp}, indent=1)
    draft = file.with_name(f"{file.name}.{os.getpid()}")
    try:
        draft.write_text(f"{said}\n", encoding="ascii")
        draft.replace(file)
    except OSError as trouble:
        draft.unlink(missing_ok=True)
        raise StoreFailed(f"{file}: {reason(trouble)}. Use a folder that can be written") from trouble


def load(file: Path) -> HeadsList:
    """The list in this file, not yet checked but for its stamp.

    Raises
    ------
    RecordBroken, UsageError
        It is no list; it cannot be read.
    """
    try:
        with file.open("rb") as opened:
            said = json.loads(opened.read(LARGEST))
        text, signature, told = str(said["text"]), str(said["signature"]), said["stamp"]
        response = None if told is None else base64.b64decode(told["response"], validate=True)
        roots = b"" if told is None else str(told["roots"]).encode("ascii")
    except OSError as trouble:
        raise UsageError(f"{file}: {reason(trouble)}. Use a list that `curewatch heads` wrote") from trouble
    except (ValueError, KeyError, TypeError, RecursionError) as trouble:
        raise RecordBroken(str(file), "a list of heads", "something else") from trouble
    return parse(text, signature, None if response is None else check(response, seal_digest(text), roots))


def written(
    file: Path, places: Mapping[str, Path], authority: Authority | None, at: float, *, key: str | None = None
) -> HeadsList:
    """The list in this file, made if it is not there, dated if it is not; its code is told to each shed.

    Done again it changes nothing: whoever was killed in between goes on. ``key`` is that of the entries.
    """
    with ExitStack() as open_ones:
        sheds = {label: open_ones.enter_context(open_logbook(place)) for label, place in places.items()}
        listed = load(file) if file.exists() else make(sheds, at)
        save(file, listed)
        for logbook in sheds.values():
            tell(logbook, listed.code, at, key)
        return stamped(file, listed, authority)


def tell(logbook: LogbookStore, code: str, at: float, key: str | None = None) -> None:
    """Write a list's code into the logbook of a shed that it lists; twice is once. UTC [s]"""
    told = {"what": "listed", "code": code}
    logbook.write(Entry(EntryKind.DAEMON, told, at, key=key or f"heads {code}"))


def stamped(file: Path, listed: HeadsList, authority: Authority | None) -> HeadsList:
    """The list in its file, dated by the authority, if it is not yet."""
    if listed.stamp is not None or authority is None:
        return listed
    dated = listed._replace(stamp=ask(authority, listed.text))
    save(file, dated)
    return dated
