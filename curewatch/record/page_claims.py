"""On paper: cautions, what a record does not claim, and how to check it."""

from collections.abc import Iterable, Iterator, Sequence

from curewatch.advice.judge import cautions
from curewatch.clock import utc_from_iso
from curewatch.logbook.sealing import Seal
from curewatch.materials.chemistry import EPOXY
from curewatch.record.account import Account
from curewatch.record.page import PageTable, table
from curewatch.record.words import RecordWords, shown


def claims(account: Account, words: RecordWords) -> Iterator[str]:
    """The cautions, and what is not claimed."""
    used = {course.resin.chemistry for course in account.courses if course.resin} or {EPOXY}
    ordered = sorted(used, key=lambda each: each.name)
    said = dict.fromkeys(line for each in ordered for line in cautions.for_layup(each))
    yield words.reader.retold(" ".join(said))
    yield (
        "This record shows what sensors reported and what people wrote down, and when. It shows that "
        "nothing of it was changed since it was sealed. It does not show that a sensor was right, or "
        "stood where it should. Nor does it show that the work was done as written, or that the laminate "
        "is sound or strong enough. The times of cure are reckoned by a model. It is of a generic resin "
        "unless the resin was fitted to its sheet. Structural and classed work is for a surveyor or a "
        "licensed repairer to judge."
    )


def checking(seal: Seal, dated: str, carried: str, words: RecordWords) -> Iterator[str | PageTable]:
    """How to check, and what to compare."""
    yield (
        "The files attached to this document hold every reading and entry. The chain of digests, the seal "
        "and the key are among them. Save them into one folder and run “sh check.sh” there. It needs "
        "sha256sum and openssl, not this program. README.txt has each step. Whoever made this record could "
        "have changed check.sh: its SHA-256 is published with the source of the program. “curewatch record "
        "verify” compares it. Compare the seal code below with the one "
        "that was written on the job card; a record made up afterwards cannot have it. What these pages "
        "say follows from the readings and entries: “curewatch record verify” reckons it again and compares; "
        "check.sh compares its digest with the sealed one, and cannot look into the pages of a PDF."
    )
    rows: Iterable[Sequence[str]] = (
        ("Seal code", seal.code),
        ("Sealed", f"{words.full(utc_from_iso(seal.at))}, {shown(seal.reason, 20)} (signed: {seal.at})"),
        ("Time stamp", dated),
        ("Carried", carried),
        ("Block", f"{seal.block}"),
        ("Head", seal.head),
        ("Public key", seal.public_key),
    )
    yield table(("", ""), (18, 82), rows)
