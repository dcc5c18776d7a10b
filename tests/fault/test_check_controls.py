"""check.sh taken apart: each attack that it finds succeeds once the checks that find it are taken out.

Program, page of shell, and page of shell with busybox and openssl alone say the same of each.
"""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from curewatch.errors import RecordBroken
from curewatch.record import paper
from curewatch.record.examination import verify
from curewatch.record.proof import LISTED, checksums
from tests.fault import test_attack_checks_disagree as bent
from tests.fault import test_attack_controls as changed
from tests.fault.test_attack_edited import another_digest_of_a_block, another_heading
from tests.fault.test_attack_odd_json import with_note, with_reading
from tests.fault.test_attack_pdf_appended import another_version, words_after_the_end
from tests.fault.test_attack_prune_claimed import without_a_block
from tests.fault.test_attack_replayed import an_older_seal
from tests.fault.test_attack_signed_with_another_key import forged
from tests.record_attacks import ATTACKERS, OwnChain, Sealed, attacked, lines, shell_check

Make = Callable[[Sealed, Path], object]  # bends a copy of the record's folder
AT = "2026-11-30T08:00:01.000Z"


class Case(NamedTuple):
    """An attack, and the lines of check.sh that find it, by a part of each."""

    make: Make
    found_by: tuple[str, ...]
    code: bool = False  # the seal code is given
    roots: bool = False  # and the certificate of an authority


def put(files: dict[str, bytes], folder: Path) -> None:
    """A record of these files; the pages beside it are of other ones, so they go."""
    shutil.rmtree(folder)
    folder.mkdir()
    for name, content in files.items():
        (folder / name).write_bytes(content)


def of_files(change: Callable, attacker: str = ATTACKERS[2]) -> Make:
    return lambda sealed, folder: put(attacked(sealed, change, attacker), folder)


def of_chain(bend: Callable[[OwnChain], object]) -> Make:
    def make(sealed: Sealed, folder: Path) -> None:
        own = OwnChain(sealed)
        bend(own)
        put(own.made(), folder)

    return make


def of_note(words: str) -> Make:
    return lambda sealed, folder: put(with_note(sealed, words).made(), folder)


def of_reading(place: int, word: str) -> Make:
    return lambda sealed, folder: put(with_reading(sealed, place, word).made(), folder)


def beside(name: str, content: bytes) -> Make:
    return lambda sealed, folder: (folder / name).write_bytes(content)


def pages_listed(pages: dict[str, bytes], proof: str = "files.sha256") -> Make:
    """The owner's own list of pages, signed."""

    def make(sealed: Sealed, folder: Path) -> None:
        for name, content in pages.items():
            (folder / name).write_bytes(content)
        told = checksums({"files.sha256": (folder / proof).read_bytes(), **pages})
        (folder / "pages.sha256").write_bytes(told)
        (folder / "pages.sig").write_bytes(sealed.key.sign(told))

    return make


def flipped(name: str) -> Make:
    """One bit of a signature."""

    def make(sealed: Sealed, folder: Path) -> None:
        content = bytearray((folder / name).read_bytes())
        content[7] ^= 1
        (folder / name).write_bytes(content)
        if name == "seal.sig":
            files = {each: (folder / each).read_bytes() for each in LISTED}
            (folder / "files.sha256").write_bytes(checksums(files))
            (folder / "files.sig").write_bytes(sealed.key.sign(checksums(files)))
            for page in ("record.pdf", "record.html", "pages.sha256", "pages.sig"):
                (folder / page).unlink()

    return make


def pdf_of(change: Callable[[bytes, Sealed], bytes]) -> Make:
    return lambda sealed, folder: (folder / "cheek.pdf").write_bytes(change(sealed.pdf, sealed))


def of_other_files(pdf: bytes, sealed: Sealed) -> bytes:
    """A PDF that names another proof, signed as a whole."""
    unsigned, _ = paper.unsigned(pdf)
    (proof,) = paper.files_named(unsigned)
    return paper._signed(unsigned.replace(proof.encode(), b"0" * 64), sealed.key)


def a_key_of_a_stranger(own: OwnChain) -> None:
    """The old key is said to have signed for it."""
    stranger = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
    old, new = (key.public_key().public_bytes_raw().hex() for key in (own.key, stranger))
    text = f"curewatch key 1\nold {old}\nnew {new}\nat {AT}\nreason changed\n"
    signature = stranger.sign(text.encode()).hex()
    payload = {"text": text, "signature": signature, "old_signature": signature}
    own.add("key", payload, int(own.blocks[-1][0]), None, AT)


def another_note(own: OwnChain) -> None:
    own.of_kind("note")["payload"]["text"] = "clean"


def the_note_gone_with_its_digest(files: dict[str, bytes]) -> dict[str, bytes]:
    told = [line for line in lines(files["entries.jsonl"]) if b"Dry-fitted" not in line]
    listed = [line for line in lines(files["digests.csv"]) if b",note," not in line]
    return {"entries.jsonl": b"".join(told), "digests.csv": b"".join(listed)}


def sparse(*sizes: tuple[str, int]) -> Make:
    def make(sealed: Sealed, folder: Path) -> None:
        for name, size in sizes:
            with (folder / name).open("ab") as file:
                file.truncate(size)

    return make


def sixty_files(sealed: Sealed, folder: Path) -> None:
    for n in range(60):
        (folder / f"{n}.pdf").write_bytes(sealed.pdf)


LINE, LIST = '"$work/strange" ]', '"$work/missing" ]'
OTHER = "is of another block, kind or owner"
READING, ENTRY, FACE = "same readings", "same lists", "same faces"
COUNT, COUNTED = (
    '"readings of block $(cat "$work/wrong"): more',
    '"entries of block $(cat "$work/wrong"): more',
)
ORDER, FOLLOWS = "number + 0 <= last", "($1 != last + 1 || $2 != head)"
SAID, SEALED = "account.json or pages.json is not what", "the seal was not made for the account"
SIGNED, AS_SIGNED = "was not signed with the key it names", '|| broken "a file is not as it was signed'
COVERED, WHOLE = "no list of this record names it", "$page as a whole is not"
MINE = "check.sh of this record is another one"  # taken out in each control: the script is not the record's

PASSER_BY = {
    f"{one.__name__} by a passer-by": Case(of_files(one, attacker), found_by)
    for one, attacker, found_by in (
        (changed.warmer, ATTACKERS[0], (AS_SIGNED, READING)),
        (changed.another_lot, ATTACKERS[1], ("files.sha256 was not signed", LINE)),
    )
}
FILES: dict[Callable, tuple[str, ...]] = {
    **dict.fromkeys(changed.READINGS, (READING, COUNT)),
    **dict.fromkeys((changed.another_lot,), (LINE,)),
    **dict.fromkeys((changed.without_the_alert, changed.without_the_note), (LIST,)),
    **dict.fromkeys((changed.an_entry_twice, changed.two_entries_swapped), (ORDER,)),
    **dict.fromkeys((changed.another_owner, changed.two_digests_swapped), (ENTRY,)),
    the_note_gone_with_its_digest: (ENTRY, COUNTED),
    changed.gone_with_its_digest: (ENTRY, COUNTED, SAID, SEALED),
    changed.invented: (LINE, OTHER, "of the job stands after its account"),
    **dict.fromkeys((changed.another_head, changed.another_head_before), (FOLLOWS, FACE)),
    changed.a_block_of_another_one: (FOLLOWS, FACE),
    changed.two_blocks_swapped: ("$1 + 0 <= at + 0", FOLLOWS, FACE),
    changed.the_last_block_cut: (
        "names another head for block $sealed",
        "end at the sealed block",
        SAID,
        SEALED,
    ),
    another_digest_of_a_block: (READING, FACE),
    another_heading: ("has another heading than",),
    an_older_seal: ("names another head for block $sealed", "end at the sealed block", SEALED),
}
CHAIN: dict[Callable[[OwnChain], object], tuple[str, ...]] = {
    bent.another_code: ("among the entries tells another code",),
    bent.another_reason: ("among the entries names another reason",),
    bent.a_second_text: ('$work/wrong") is not as this program writes it',),
    bent.an_unsigned_seal: (SIGNED,),
    bent.a_seal_of_another_head: ("among the entries names another head",),
    bent.a_seal_of_another_time: ("among the entries names another time",),
    bent.a_key_that_follows_nothing: (
        *("(key) is no change of key", "(key) follows another key", "lost, or signed by the old key", SIGNED),
    ),
    a_key_of_a_stranger: (
        '"entry $number (key): the old key did not sign it',
        "the entries name another key than",
    ),
    **dict.fromkeys(bent.BENT[7:10], (OTHER,)),
    bent.an_entry_of_another_block: (OTHER,),
    bent.fewer_readings: (COUNT,),
    bent.more_entries: (COUNTED,),
    bent.a_name_twice_in_a_line: ('shape != "s"', "name <= last[deep]"),
    **dict.fromkeys((bent.an_account_of_another_block, bent.an_account_with_two_digests), (SAID,)),
    bent.an_account_of_another_time: (SEALED,),
    bent.a_note_after_the_account: ("of the job stands after its account",),
    bent.readings_let_go_unsaid: ("are left out",),
}
CASES: dict[str, Case] = {
    **PASSER_BY,
    **{one.__name__: Case(of_files(one), found_by) for one, found_by in FILES.items()},
    **{one.__name__: Case(of_chain(one), found_by) for one, found_by in CHAIN.items()},
    "another key": Case(
        lambda sealed, folder: put(forged(sealed), folder), ("the entries name another key than",)
    ),
    "another note under the same card": Case(
        of_chain(another_note), ("no seal of this record has the",), code=True
    ),
    "no stamp where one is asked for": Case(
        lambda *_: None, ("by the authority that was given",), roots=True
    ),
    "a bit of files.sig": Case(flipped("files.sig"), ("files.sha256 was not signed",)),
    "a bit of seal.sig": Case(flipped("seal.sig"), ("seal.txt was not signed",)),
    "a bit of pages.sig": Case(flipped("pages.sig"), ("pages.sha256 was not signed",)),
    "a page beside it": Case(beside("met.html", b"met"), (COVERED,)),
    "a page whose name is a star": Case(beside("*", b"met"), (COVERED,)),
    "a page of its own list": Case(pages_listed({"met.html": b"met"}), ("lists what is no page", COVERED)),
    "a list of other files": Case(pages_listed({}, "README.txt"), ("lists pages of other files", COVERED)),
    "a page changed": Case(beside("record.html", b"met"), ('|| broken "$page is not as it was signed',)),
    "a folder in it": Case(lambda sealed, folder: (folder / "p").mkdir(), ("it is no file", COVERED)),
    "a PDF without a signature": Case(
        beside("cheek.pdf", b"%PDF-1.7\n"), ("carries no signature", "was not laid out with", WHOLE)
    ),
    "a PDF of other files": Case(pdf_of(of_other_files), ("was not laid out with these files",)),
    "words behind a PDF": Case(pdf_of(lambda pdf, _: words_after_the_end(pdf)), (WHOLE,)),
    "another version in a PDF": Case(pdf_of(lambda pdf, _: another_version(pdf)), (WHOLE,)),
    "a claim of pruning": Case(
        lambda sealed, folder: put(without_a_block(sealed, [[1, 2]])[0], folder), ("are left out",)
    ),
    "another check.sh": Case(of_files(lambda files: {"check.sh": files["check.sh"] + b"# held\n"}), (MINE,)),
    "another README.txt": Case(
        of_files(lambda files: {"README.txt": files["README.txt"] + b"It is sound.\n"}),
        ("README.txt of this",),
    ),
    "a stamp that is none": Case(
        of_files(lambda files: {"seal.tsr": b"0"}),
        ("the time stamp of $4 is none", "is not of this seal, or not by"),
    ),
    "a name twice in a note": Case(of_note('"text":"off","text":"on"'), ("name <= last[deep]",)),
    "a number in other digits": Case(of_note('"text":1.50'), ("!fewest(number)",)),
    "a reading in other digits": Case(of_reading(6, "16.45"), ("a line that this program does not write",)),
    "a second name of a sensor": Case(of_reading(1, "%62ench"), ("names a sensor as this program",)),
    "a key with words before it": Case(
        of_files(lambda files: {"key.pem": b"mine\n" + files["key.pem"]}), ("key.pem is not as this program",)
    ),
    "sixty files": Case(sixty_files, ("more than the 64 files",)),
    "a page of 37 MB": Case(
        sparse(("record.html", 37 * 2**20)), ("has more than 36 MB", "$page is not as it")
    ),
}


def blind(script: str, checks: tuple[str, ...]) -> str:
    """The script without these: a line that says what is broken, a comparison, a condition in awk."""
    for each in checks:
        (line,) = (line for line in script.splitlines() if each in line)
        if each.startswith("same "):
            other = line.replace("same ", ": ")
        elif 'broken "' in line:
            other = line.replace('broken "', ': "')
        else:
            other = line.replace(each, "0")
        assert other != line, each
        script = script.replace(line, other)
    return script


@pytest.mark.long
@pytest.mark.parametrize("name", CASES)
@pytest.mark.few(1)
def test_what_check_sh_finds_holds_without_the_lines_that_find_it(
    sealed: Sealed, tmp_path: Path, few_tools: str, name: str
):
    """Program, shell and busybox refuse it; the control: without those lines, and no others, it holds."""
    case, folder = CASES[name], Path(shutil.copytree(sealed.folder, tmp_path / "copy"))
    case.make(sealed, folder)
    roots = sealed.folder / "key.pem" if case.roots else None
    code = sealed.seal.code if case.code or case.roots else None
    with pytest.raises(RecordBroken):
        verify(folder, code=code, roots=roots and roots.read_bytes())
    script = (sealed.folder / "check.sh").read_text()
    (tmp_path / "blind.sh").write_text(blind(script, tuple({*case.found_by, MINE})))
    said, busy, unseen = (
        shell_check(folder, code, path, roots, script=each)
        for path, each in (
            (None, sealed.folder / "check.sh"),
            (few_tools, sealed.folder / "check.sh"),
            (None, tmp_path / "blind.sh"),
        )
    )
    assert (said.returncode, said.stderr) == (5, ""), said.stdout
    assert (busy.returncode, busy.stdout) == (5, said.stdout)
    assert unseen.returncode == 0, unseen.stdout
    assert unseen.stdout.startswith("HOLDS")


def test_an_escape_acts_where_check_sh_writes_names_as_they_are(sealed: Sealed, tmp_path: Path):
    """The control of what it says: a name from outside is not shown as it is."""
    folder = Path(shutil.copytree(sealed.folder, tmp_path / "copy"))
    (folder / "\x1b[2Jx").write_bytes(b"met")
    script = (sealed.folder / "check.sh").read_text()
    script = blind(script, (MINE,))
    (tmp_path / "blind.sh").write_text(script.replace("| tr -c '\\040-\\176' '?'", ""))
    for each, acts in ((sealed.folder / "check.sh", False), (tmp_path / "blind.sh", True)):
        assert ("\x1b" in shell_check(folder, script=each).stdout) == acts
