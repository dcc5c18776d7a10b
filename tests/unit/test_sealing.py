"""A seal's code fixes everything before it, and a slip of the pen shows."""

import os
import stat
import threading
from contextlib import nullcontext, suppress
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.errors import RecordBroken, StoreFailed, UsageError
from curewatch.logbook import Entry, EntryKind, Logbook, sealing
from curewatch.logbook.keys import key_path, load_key, signing_key
from curewatch.logbook.seal_code import ALPHABET, read_code, seal_code
from curewatch.logbook.sealing import check_seals, parse, prove, seal, seals
from curewatch.readings import Reading, Rejected

START = 1_795_640_400.0


@pytest.fixture
def logbook(tmp_path: Path):
    with Logbook(tmp_path / "logbook.sqlite") as opened:
        opened.append([Reading("bench", START + n, START + n, 285.0, 0.8) for n in range(9)])
        yield opened


def test_a_seal_proves_what_was_before_it(logbook: Logbook):
    """The code written on the card is found again after later work, however it was written."""
    first = seal(logbook, reason="day", at=START + 60)
    logbook.write(Entry("note", {"text": "later"}, START + 70, job="K9-1"))
    second = seal(logbook, reason="job-close", at=START + 90)
    assert prove(logbook, first.code) == first
    assert prove(logbook, second.code.lower().replace("-", " ").replace("1", "l").replace("0", "o")) == second
    assert seals(logbook) == check_seals(logbook).seals == [first, second]
    assert (first.block, second.block) == (1, 2)


def test_a_seal_holds_by_its_signature_its_head_and_its_key(logbook: Logbook):
    """Each alone breaks it; what is no seal among the entries is passed over."""
    made = seal(logbook, reason="day", at=START + 60)
    logbook.write(Entry("note", {"text": "later"}, START + 70))
    sealing.check_seal(made, made.head, made.public_key)
    swapped = made.signature[2:] + made.signature[:2]
    for one, head, key in (
        (made._replace(signature=swapped), made.head, made.public_key),
        (made, made.head[::-1], made.public_key),
        (made, made.head, made.public_key[::-1]),
    ):
        with pytest.raises(RecordBroken, match="seal of block"):
            sealing.check_seal(one, head, key)
    assert sealing.check_signed(logbook.entries(), lambda one: one.head).seals == [made]


@pytest.mark.parametrize("told", [True, False])
def test_a_seal_of_a_block_that_is_gone_holds_where_its_loss_was_told(logbook: Logbook, told: bool):
    """Its head then stands in the seal alone."""
    made = seal(logbook, reason="day", at=START + 60)
    whole = frozenset({made.block} if told else {made.block + 1})
    gone = SimpleNamespace(
        entries=logbook.entries,
        lost=lambda: SimpleNamespace(whole=whole, entries=frozenset()),
        block_head=lambda _: None,
        path=logbook.path,
    )
    with nullcontext() if told else pytest.raises(RecordBroken, match="seal of block"):
        assert check_seals(gone).seals == [made]  # type: ignore[arg-type]


@pytest.mark.parametrize("work", ["replace", "write_text"])
def test_a_note_that_cannot_be_put_in_its_place_leaves_nothing_behind(
    logbook: Logbook, monkeypatch: pytest.MonkeyPatch, work: str
):
    """The seal is made all the same, also where nothing of the note could be written."""
    before = set(logbook.path.parent.iterdir())

    def refused(*_: object) -> None:
        raise OSError("no")

    monkeypatch.setattr(Path, work, refused)
    sealing._note_last(logbook, SimpleNamespace(code="X"))  # type: ignore[arg-type]
    assert set(logbook.path.parent.iterdir()) == before


def test_a_logbook_without_a_line_can_be_sealed(tmp_path: Path):
    """Nothing was written yet: the seal says so, and holds."""
    with Logbook(tmp_path / "new.sqlite") as new:
        made = seal(new, reason="day", at=START)
        assert prove(new, made.code).block == 0


def test_a_code_of_another_logbook_proves_nothing(logbook: Logbook, tmp_path: Path):
    """The same readings in another logbook have another key and so another code."""
    code = seal(logbook, reason="day", at=START + 60).code
    with Logbook(tmp_path / "other.sqlite") as other:
        other.append([Reading("bench", START + n, START + n, 285.0, 0.8) for n in range(9)])
        seal(other, reason="day", at=START + 60)
        with pytest.raises(RecordBroken, match="rewritten"):
            prove(other, code)


def test_no_code_proves_a_chain_that_is_broken(logbook: Logbook):
    """The seal is whole and has its code; a reading before it was changed."""
    code = seal(logbook, reason="day", at=START + 60).code
    logbook._connection.execute("UPDATE blocks SET readings_digest = entries_digest WHERE number = 1")
    with pytest.raises(RecordBroken, match="block 1"):
        prove(logbook, code)


@pytest.mark.parametrize("text", ["", "w" * 300, "curewatch seal 2\n"])
def test_what_is_no_text_of_a_seal_is_refused(text: str):
    """Data from outside: named by what was found, and never more of it than fits a line."""
    with pytest.raises(RecordBroken) as rejected:
        parse(text, "")
    assert rejected.value.found == repr(text[:200])


def test_a_block_s_number_may_have_fifteen_digits(logbook: Logbook):
    """More than any logbook will ever have."""
    text = seal(logbook, reason="day", at=START + 60).text
    assert parse(text.replace("block 1", "block " + "9" * 15), "").block == 10**15 - 1


def open_in(folder: Path) -> int:
    """How many files of this folder, itself included, are open here; what else a process opens may change."""
    there, count = [each.stat() for each in (folder, *folder.iterdir())], 0
    for each in Path("/dev/fd").iterdir():
        with suppress(OSError):  # that of the list itself
            own = os.fstat(int(each.name))
            count += any(os.path.samestat(own, one) for one in there)
    return count


def test_the_key_is_for_its_owner_only(logbook: Logbook):
    """Made once, mode 0600, and no file left open; a key that others can read is refused."""
    opened = open_in(logbook.path.parent)
    signing_key(logbook)
    assert open_in(logbook.path.parent) == opened
    seal(logbook, reason="day", at=START)
    path = key_path(logbook.path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert load_key(path).private_bytes_raw() == load_key(path).private_bytes_raw()
    path.chmod(0o644)
    with pytest.raises(StoreFailed, match="chmod 600"):
        seal(logbook, reason="day", at=START)
    path.chmod(0o600)
    path.write_text("no key")
    with pytest.raises(StoreFailed, match="backup"):
        seal(logbook, reason="day", at=START)
    assert [p.name for p in path.parent.iterdir() if p.name.endswith(str(os.getpid()))] == []


def test_refusals_enter_the_chain_with_the_seal(logbook: Logbook):
    """What was refused since the last seal is written down before it, once."""
    logbook.append(rejected=[Rejected("not a number", b"T=nan", START, "usb", "bench")] * 4)
    seal(logbook, reason="day", at=START + 60)
    seal(logbook, reason="day", at=START + 120)
    logbook.append(rejected=[Rejected("not a number", b"T=nan", START + 130, "usb", "bench")] * 2)
    seal(logbook, reason="day", at=START + 140)
    (written, later) = logbook.entries(EntryKind.REJECTED)
    assert written.payload["counts"] == [
        {"source": "usb", "sensor": "bench", "reason": "not a number", "times": 4}
    ]
    assert [one["times"] for one in later.payload["counts"]] == [2]


@given(st.text(max_size=30), st.integers(0, 27), st.sampled_from(ALPHABET))
def test_one_wrong_character_shows(text: str, place: int, wrong: str):
    """Any single character changed is noticed, and the right code is read as itself."""
    code = seal_code(text).replace("-", "")
    assert read_code(code) == seal_code(text)
    if code[place] != wrong:
        with pytest.raises(UsageError):
            read_code(code[:place] + wrong + code[place + 1 :])


@given(st.text(max_size=30), st.integers(0, 24))
def test_two_swapped_neighbours_show(text: str, place: int):
    """Any two neighbours of the twenty-six swapped are noticed."""
    code = seal_code(text).replace("-", "")
    swapped = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
    if swapped != code:
        with pytest.raises(UsageError):
            read_code(swapped)


def test_what_is_no_code_is_said_to_be_none():
    """Too short, or with a letter the alphabet leaves out."""
    with pytest.raises(UsageError, match="28 characters"):
        read_code("7K3M")
    with pytest.raises(UsageError, match="'U'"):
        read_code("-".join(["UUUU"] * 7))


def test_a_seal_holds_while_another_process_writes(logbook: Logbook):
    """The daemon wants to store at the very moment the head is read: it waits, and the seal holds."""
    with Logbook(logbook.path) as daemon:
        begun = threading.Thread(target=daemon.append, args=([Reading("hull", START, START, 284.0, None)],))

        def meanwhile(statement: str) -> None:
            if statement.startswith("SELECT number, head") and not begun.ident:
                begun.start()
                begun.join(0.5)  # it gets through here if nothing holds it back

        logbook._connection.set_trace_callback(meanwhile)
        made = seal(logbook, reason="job-close", at=START + 60)
        assert begun.ident
        begun.join()
    assert set(logbook.latest()) == {"bench", "hull"}
    logbook.verify()
    assert check_seals(logbook).seals == [made]
