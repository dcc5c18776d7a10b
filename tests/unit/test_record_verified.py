"""A small proof, checked step by step: whatever is changed in it is named. No page is made of it.

An attacker who changes a file is met first; then one who lists and signs his changes with the right key, and
at last one who writes the whole chain himself.
"""

import base64
from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from curewatch.errors import RecordBroken, UsageError
from curewatch.logbook import Entry, EntryKind, Logbook, chain
from curewatch.logbook.keys import change_key, fingerprint, signing_key
from curewatch.logbook.sealing import seal
from curewatch.readings import Reading
from curewatch.record import verification as checks
from curewatch.record.proof import DIGESTS_HEADER, FILES, LISTED, checksums, proof_files, window
from curewatch.record.reckoning import LeftOut, Link, OtherEdition
from curewatch.units import DAY
from tests.record_attacks import OwnChain, Sealed, lines

START = 1_795_640_400.0
SAID: Any = "the pages"
Files = dict[str, bytes]


@pytest.fixture(scope="module")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Sealed:
    """Four blocks, the readings of the first left out; of two seals within, one before and one in the job."""
    path = tmp_path_factory.mktemp("proof") / "logbook.sqlite"

    def measured(minute: float) -> list[Reading]:
        at = START + 60.0 * minute
        return [Reading(name, at, at + 1.0, 285.0, 0.8) for name in ("bench", "yard")]

    def written(kind: str, minute: float, job: str | None = "cheek", **payload: Any) -> None:
        logbook.write(Entry(kind, payload, START + 60.0 * minute, job=job))

    with Logbook(path) as logbook:
        written(EntryKind.CONFIGURATION, 0, None, zone="Europe/Lisbon")
        written(EntryKind.GAP, 1, None, sensor="bench")
        logbook.append(measured(2))
        seal(logbook, reason="day", at=START + 180.0)
        written(EntryKind.JOB_OPEN, 4, job="cheek")
        logbook.append(measured(5))
        logbook.close_block()
        written(EntryKind.NOTE, 6, "mast-step", text="another job's")
        written(EntryKind.NOTE, 7, text="sanded")
        logbook.append(measured(8) + measured(9))
        seal(logbook, reason="day", at=START + 600.0)
        written(EntryKind.GAP, 11, None, sensor="yard")
        final = seal(logbook, reason="record", at=START + 720.0)
        key = signing_key(logbook)
        part = window(logbook, "cheek", final.block, START + 330.0, START + 700.0)
        files = proof_files(logbook, part, final, {"account.json": b"{}", "pages.json": b"{}"})
    return Sealed(files, final, key, path.parent, b"", path, SAID)


@pytest.fixture(autouse=True)
def pages_are_not_made(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is said of the evidence is another matter."""
    monkeypatch.setattr(checks, "check_said", lambda *_: SAID)


def signed(sealed: Sealed, changed: Mapping[str, bytes]) -> Files:
    """Listed and signed again with the right key."""
    files = {**sealed.files, **changed}
    files["files.sha256"] = checksums({name: files[name] for name in LISTED})
    return files | {"files.sig": sealed.key.sign(files["files.sha256"])}


def broken(files: Mapping[str, bytes], **asked: Any) -> tuple[str, str, str]:
    """What is named, what was expected, what was found."""
    with pytest.raises(RecordBroken) as found:
        checks.verify_files(files, **asked)
    return found.value.entry, found.value.expected, found.value.found


def test_a_proof_that_holds_tells_what_it_holds(sealed: Sealed) -> None:
    """The control of all below."""
    holds = checks.verify_files(sealed.files)
    assert holds.seal == sealed.seal
    assert len(holds.codes) == 3
    assert holds.codes[0] == sealed.seal.code
    assert (holds.first_block, holds.readings, holds.entries, holds.left_out) == (1, 6, 6, 2)
    assert holds.checked == {name: sha256(sealed.files[name]).hexdigest() for name in FILES}
    assert holds.pages == SAID
    assert holds.left_out_blocks == (LeftOut(1, 1, None, START + 301.0),)
    assert (holds.key_changes, holds.dated, holds.unmade) == ((), (), None)


def test_where_another_edition_made_the_pages_all_else_is_told(sealed: Sealed, monkeypatch) -> None:
    """It does not hold as a whole."""
    other = OtherEdition("the pages", "what this edition reckons", "what another reckoned")

    def refused(*_: object) -> None:
        raise other

    monkeypatch.setattr(checks, "check_said", refused)
    found = checks.examined(sealed.files, code=None, key=None, roots=None)
    assert (found.unmade, found.pages, found.seal) == (other, None, sealed.seal)
    assert broken(sealed.files)[0] == "the pages"


def test_a_code_that_was_written_down_is_that_of_one_of_its_seals(sealed: Sealed) -> None:
    """Of any of them, in any writing, or by all its digits; of no other."""
    for code in checks.verify_files(sealed.files).codes:
        assert checks.verify_files(sealed.files, code=code.lower().replace("-", " "))
    assert checks.verify_files(sealed.files, code=sealed.seal.digest.upper())
    other = "0" * 64
    assert broken(sealed.files, code=other)[0] == f"seal code {other}"
    assert sealed.seal.code in broken(sealed.files, code=other)[2]
    with pytest.raises(UsageError, match="seal code"):
        checks.verify_files(sealed.files, code="")


def test_a_key_that_was_written_down_is_that_of_the_seal(sealed: Sealed) -> None:
    """Or its fingerprint."""
    public = sealed.seal.public_key
    assert checks.verify_files(sealed.files, key=public)
    assert checks.verify_files(sealed.files, key=fingerprint(public))
    for other in ("", "0" * 64):
        assert broken(sealed.files, key=other) == ("key.pem", f"key {other}", f"key {public}")


def test_where_an_authority_is_asked_for_somebody_must_have_dated_it(sealed: Sealed) -> None:
    """Also where its certificates are an empty file."""
    for roots in (b"", b"certificates"):
        assert broken(sealed.files, roots=roots)[0] == "seal.tsr"


# ---- whoever changes a file


@pytest.mark.parametrize("name", FILES)
def test_each_file_must_be_there_as_it_was_signed(sealed: Sealed, name: str) -> None:
    """Missing or longer by a byte, it is named."""
    assert broken({each: sealed.files[each] for each in FILES if each != name})[:2] == (
        name,
        "a file of that name",
    )
    named = "files.sha256" if name == "files.sig" else name
    assert broken({**sealed.files, name: sealed.files[name] + b"\n"})[0] == named


def test_the_list_has_each_file_once_and_nothing_besides(sealed: Sealed) -> None:
    """A line too few is the file that it lacks; one too many is told by their number."""
    listed = lines(sealed.files["files.sha256"])
    found = broken({**sealed.files, "files.sha256": b"".join(listed[:-1])})
    assert found[:2] == (LISTED[-1], "what files.sha256 lists: ")
    found = broken({**sealed.files, "files.sha256": b"".join([*listed, listed[0]])})
    assert found == ("files.sha256", "the files of a record", f"{len(LISTED) + 1} lines")
    changed = broken({**sealed.files, "files.sha256": b"\xff" * 99 + b"".join(listed)})
    assert changed[:2] == (LISTED[0], f"what files.sha256 lists: {chr(0xFFFD) * 80}")
    assert changed[2].encode() == listed[0].rstrip()


def test_a_list_that_another_key_signed_is_refused(sealed: Sealed) -> None:
    """Whatever it lists is true."""
    other = Ed25519PrivateKey.generate().sign(sealed.files["files.sha256"])
    assert broken({**sealed.files, "files.sig": other})[0] == "files.sha256"


# ---- whoever signs with the right key


@pytest.mark.parametrize("name", ["README.txt", "check.sh"])
def test_what_explains_and_checks_is_what_was_published(sealed: Sealed, name: str) -> None:
    """By its digest."""
    other = sealed.files[name] + b"\n"
    assert broken(signed(sealed, {name: other}))[::2] == (name, sha256(other).hexdigest())


def test_a_seal_is_signed_with_the_key_that_is_there_and_names_it(sealed: Sealed) -> None:
    """A change of its text, and a whole one of another's."""
    text = sealed.files["seal.txt"]
    assert broken(signed(sealed, {"seal.txt": text.replace(b"record", b"day")}))[0] == "seal.txt"
    other = text.replace(sealed.seal.public_key.encode(), b"0" * 64)
    found = broken(signed(sealed, {"seal.txt": other, "seal.sig": sealed.key.sign(other)}))
    assert found == ("seal.txt", f"key {sealed.seal.public_key}", f"key {'0' * 64}")


def pem(der: bytes) -> bytes:
    return b"-----BEGIN PUBLIC KEY-----\n" + base64.b64encode(der) + b"\n-----END PUBLIC KEY-----\n"


def test_a_key_is_written_in_one_way() -> None:
    """Ed25519, 32 bytes, in one line."""
    begin, raw = bytes.fromhex("302a300506032b6570032100"), bytes(range(32))
    assert checks.public_key(pem(begin + raw)) == raw.hex()
    good = pem(begin + raw)
    for bad in (
        pem(begin + raw[1:]),
        pem(begin + raw + b"\0"),
        pem(bytes.fromhex("302a300506032b656e032100") + raw),  # X25519
        pem(raw + begin),
        good[:-1],
        good + b"\n",
        good.replace(b"MCow", b"MCow\n"),
        good.replace(b"MCow", b"MC"),
        good.replace(b"-----BEGIN PUBLIC KEY-----\n", b""),
        b"",
    ):
        with pytest.raises(RecordBroken, match=r"^key\.pem: expected an Ed25519 public key"):
            checks.public_key(bad)


@pytest.mark.parametrize("name", ["seal.txt", "blocks.csv", "digests.csv", "entries.jsonl"])
def test_a_text_has_plain_letters(sealed: Sealed, name: str) -> None:
    """In UTF-8, too, no other."""
    content = sealed.files[name].replace(b"a", "\u00e4".encode(), 1)
    sign = {"seal.sig": sealed.key.sign(content)} if name == "seal.txt" else {}
    assert broken(signed(sealed, {name: content, **sign}))[:2] == (name, "plain text")


@pytest.mark.parametrize("name", ["blocks.csv", "digests.csv", "entries.jsonl", "readings.csv"])
def test_a_table_ends_with_a_line_feed_and_begins_with_its_heading(sealed: Sealed, name: str) -> None:
    """Also where nothing is in it."""
    assert broken(signed(sealed, {name: sealed.files[name][:-1]}))[:2] == (name, "a line feed at the end")
    if name != "entries.jsonl":
        for content in (b"x" + sealed.files[name], b""):
            assert broken(signed(sealed, {name: content}))[1].startswith("the heading ")


def test_there_is_a_block(sealed: Sealed) -> None:
    """A heading alone proves nothing."""
    heading = lines(sealed.files["blocks.csv"])[0]
    assert broken(signed(sealed, {"blocks.csv": heading}))[:2] == ("blocks.csv", "at least one block")


def test_readings_are_those_of_their_blocks(sealed: Sealed) -> None:
    """One taken out of a block, one more at the end, one that is another."""
    heading, *rows = lines(sealed.files["readings.csv"])
    last = rows[-1].split(b",")[0].decode()
    found = broken(signed(sealed, {"readings.csv": b"".join([heading, *rows[:-1]])}))
    assert found[0] == f"readings of block {last}"
    assert found[1].startswith("4 readings with digest ")
    assert found[2].startswith("3 with digest ")
    found = broken(signed(sealed, {"readings.csv": b"".join([heading, *rows[1:]])}))
    assert found[0] == "readings of block 2"
    found = broken(signed(sealed, {"readings.csv": b"".join([heading, *rows, rows[-1], rows[-1]])}))
    assert found == ("readings.csv", "readings of the blocks listed", "2 more")
    warmer = rows[0].replace(b",11.850,", b",12.850,")
    found = broken(signed(sealed, {"readings.csv": b"".join([heading, warmer, *rows[1:]])}))
    assert found[0] == "readings of block 2"
    assert found[2].startswith("2 with digest ")


def test_a_form_of_readings_that_is_not_known_asks_for_a_newer_program(sealed: Sealed) -> None:
    """The newest of the blocks whose readings are here is the form of the file."""
    heading, *rows = lines(sealed.files["blocks.csv"])
    rows[-1] = rows[-1].rpartition(b",")[0] + b",99\n"
    found = broken(signed(sealed, {"blocks.csv": b"".join([heading, *rows])}))
    assert found[:2] == ("blocks.csv", "forms of this version; update curewatch")


def test_each_block_lists_its_entries_together(sealed: Sealed) -> None:
    """A line taken out, exchanged, put at the end, of a block that is not there."""
    heading, *rows = lines(sealed.files["digests.csv"])
    number = rows[0].split(b",")[0].decode()

    def listed(*changed: bytes) -> tuple[str, str, str]:
        return broken(signed(sealed, {"digests.csv": b"".join([heading, *changed])}))

    found = listed(*rows[1:])
    assert found[0] == f"entries of block {number}"
    assert found[1].startswith("2 entries with digest ")
    assert found[2].startswith("1 entries with digest ")
    assert listed(rows[1], rows[0], *rows[2:])[0] == f"entries of block {number}"
    assert listed(*rows[1:], rows[0])[1:] == (f"the lines of block {number} together", "some of them apart")
    assert listed(*rows, b"99" + rows[0])[1:] == ("entries of the blocks listed", f"block 99{number}")
    assert listed(*rows, b"9" * 30 + b"," + b"x" * 80 + b"\n")[2] == f"block {'9' * 20}"


def test_entries_stand_each_once_in_their_order(sealed: Sealed) -> None:
    """Twice, exchanged, changed."""
    first, second, *rest = lines(sealed.files["entries.jsonl"])
    for changed in ([first, first, second, *rest], [second, first, *rest]):
        found = broken(signed(sealed, {"entries.jsonl": b"".join(changed)}))
        assert found[:2] == ("entries.jsonl", "each entry once, in order")
    changed = [first.replace(b"Lisbon", b"London"), second, *rest]
    assert broken(signed(sealed, {"entries.jsonl": b"".join(changed)}))[0] == "entry 1 (configuration)"


@pytest.mark.parametrize(
    ("kind", "place", "expected"),
    [
        (b"note", -1, "every entry of this job"),
        (b"seal", -1, "every entry of the shed while the job ran"),
        (b"gap", -1, "every entry of the shed while the job ran"),
        (b"job-open", -1, "the opening of one job"),
        (b"configuration", 0, ""),
    ],
)
def test_what_may_be_left_out_is_of_other_jobs_or_was_before(
    sealed: Sealed, kind: bytes, place: int, expected: str
) -> None:
    """And what is left out must not tell against its owner."""
    rows = lines(sealed.files["entries.jsonl"])
    gone = [row for row in rows if b'"kind":"%s"' % kind in row][place]
    files = signed(sealed, {"entries.jsonl": b"".join(row for row in rows if row != gone)})
    if expected:
        assert broken(files)[1] == expected
    else:
        holds = checks.verify_files(files)
        assert (holds.entries, holds.left_out) == (5, 3)


def test_the_chain_leads_from_block_to_block_up_to_the_seal(sealed: Sealed) -> None:
    """A head that is another, one that was before, a block that is passed over, the last one gone."""
    heading, *rows = (row.rstrip(b"\n").split(b",") for row in lines(sealed.files["blocks.csv"]))
    assert [row[0] for row in rows] == [b"1", b"2", b"3", b"4"]

    def chained(*changed: list[bytes]) -> tuple[str, str, str]:
        links = checks._links("".join(f"{b','.join(row).decode()}\n" for row in (heading, *changed)))
        with pytest.raises(RecordBroken) as found:
            checks._check_chain(links, sealed.seal)
        return found.value.entry, found.value.expected, found.value.found

    def head(row: list[bytes]) -> str:
        return row[6].decode()

    other = b"0" * 64
    bent = [*rows[1][:6], other, *rows[1][7:]]
    assert chained(rows[0], bent, *rows[2:]) == ("block 2", f"head {head(rows[1])}", f"head {'0' * 64}")
    follows = f"block 3 after head {head(rows[1])}"
    bent = [rows[2][0], other, *rows[2][2:]]
    assert chained(*rows[:2], bent, rows[3]) == ("block 3", follows, f"block 3 after head {'0' * 64}")
    assert chained(*rows[:2], rows[3])[:2] == ("block 4", follows)
    skipped = [b"5", *rows[3][1:]]
    assert chained(*rows[:3], skipped)[0] == "block 5"
    told = f"block 4, head {head(rows[3])}"
    assert chained(*rows[:3]) == ("seal.txt", f"block 3, head {head(rows[2])}", told)
    text = sealed.files["blocks.csv"].replace(rows[1][6] + b",here", other + b",here")
    assert broken(signed(sealed, {"blocks.csv": text}))[0] == "block 2"


# ---- whoever writes the chain himself


def test_a_chain_of_ones_own_holds(sealed: Sealed) -> None:
    """The control: it is not refused for how it is made."""
    chained = OwnChain(sealed)
    chained.of_kind("note")["payload"]["text"] = "sanded twice"
    assert checks.verify_files(chained.made()).entries == 6


@pytest.mark.parametrize(
    "second", ["1,note,-,{0}", "02,note,-,{0}", "2,a_b,-,{0}", "2,note,me,{0}", "2,note,-,{0}0", "2,note,-"]
)
def test_an_entry_is_listed_once_by_its_number_kind_owner_and_digest(second: str) -> None:
    """In a list whose digest is right. The control: with the second as it must be, it is another thing."""
    digest = "0" * 64
    for line, expected in (
        (second, "each entry once, by its number"),
        ("2,note,-,{0}", "the opening of one"),
    ):
        listed = [f"1,job-open,{digest[:32]},{digest}", line.format(digest)]
        text = "".join(f"{each}\n" for each in listed)
        face = chain.Face(1, 7, digest, 0, digest, 2, sha256(text.encode()).hexdigest())
        rows = DIGESTS_HEADER + "".join(f"\n7,{each}" for each in listed) + "\n"
        with pytest.raises(RecordBroken) as found:
            checks._check_entries(
                {"digests.csv": rows.encode(), "entries.jsonl": b""}, [Link(face, digest, True)]
            )
        assert found.value.expected.startswith(expected)


def test_a_record_is_of_one_job(sealed: Sealed) -> None:
    """A second opening, of whichever job, is too many."""
    chained = OwnChain(sealed)
    at = chained.of_kind("note")["at"]
    chained.add("job-open", {"job": "mast-step"}, 4, "mast-step", at)
    assert broken(chained.made())[1:] == ("the opening of one job", "of 2")


def test_a_seal_within_names_the_head_of_its_block(sealed: Sealed) -> None:
    """One that was signed for another history does not."""
    chained = OwnChain(sealed)
    told = chained.of_kind("seal")
    told["payload"]["signed_by_him"] = False
    chained.of_kind("job-open")["payload"]["job"] = "another history"
    assert broken(chained.made())[0].startswith("seal of block 3 ")


def test_a_key_that_the_entries_changed_is_that_of_the_seal(tmp_path: Path) -> None:
    """The one before does not sign what comes after."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.write(Entry(EntryKind.JOB_OPEN, {"job": "cheek"}, START, job="cheek"))
        first = seal(logbook, reason="day", at=START + 60.0)
        old = signing_key(logbook)
        change_key(logbook, START + 70.0)
        final = seal(logbook, reason="record", at=START + 80.0)
        part = window(logbook, "cheek", final.block, START, START + 90.0)
        files = proof_files(logbook, part, final, {"account.json": b"{}", "pages.json": b"{}"})
    (change,) = checks.verify_files(files).key_changes
    assert (change.old, change.new) == (first.public_key, final.public_key)
    text = files["seal.txt"].replace(change.new.encode(), change.old.encode())
    own_key = {"key.pem": pem(checks._ED25519 + bytes.fromhex(change.old))}
    forged = Sealed({**files, **own_key}, final, old, tmp_path, b"", tmp_path, SAID)
    found = broken(signed(forged, {"seal.txt": text, "seal.sig": old.sign(text)}))
    assert found == ("seal.txt", f"key {change.new}, as the entries name it", f"key {change.old}")


def test_after_a_pause_the_block_before_it_stands_with_its_entries(tmp_path: Path) -> None:
    """Readings step back to a block older than the job; what that block tells of the shed comes with it."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append([Reading("bench", START, START + 1.0, 285.0, 0.8)])
        logbook.write(Entry("daemon", {"what": "stopped"}, START + 60.0))
        seal(logbook, reason="day", at=START + 120.0)
        opened = START + 7 * DAY
        logbook.append([Reading("bench", opened, opened + 1.0, 285.0, 0.8)])
        logbook.close_block()
        logbook.write(Entry(EntryKind.JOB_OPEN, {"job": "cheek"}, opened + 60.0, job="cheek"))
        final = seal(logbook, reason="record", at=opened + 120.0)
        part = window(logbook, "cheek", final.block, opened - DAY, opened + 120.0)
        files = proof_files(logbook, part, final, {"account.json": b"{}", "pages.json": b"{}"})
    assert [one.kind for one in part.entries] == ["daemon", EntryKind.SEAL, EntryKind.JOB_OPEN]
    assert final.code in checks.verify_files(files).codes
