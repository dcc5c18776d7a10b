"""The control of the attacks on the files: each succeeds once the one check that it runs into is taken out.

An attack could be refused for something else. Here the owner changes a file and signs the list again; the
step that must find it is named, and without it (and without making the pages again) the record holds.
"""

from collections.abc import Callable, Mapping
from hashlib import sha256
from itertools import groupby

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import entry
from curewatch.record import verification
from curewatch.record.evidence import BlockLines, read_rows
from curewatch.record.verification import verify_files
from tests.record_attacks import ATTACKERS, Sealed, attacked, lines

Files = Mapping[str, bytes]


def row_changed(files: Files, place: int, change: Callable[[bytes], bytes]) -> dict[str, bytes]:
    rows = lines(files["readings.csv"])
    rows[place] = change(rows[place])
    return {"readings.csv": b"".join(rows)}


def warmer(files: Files) -> dict[str, bytes]:
    cells = lines(files["readings.csv"])[100].split(b",")
    cells[6] = b"%.3f" % (float(cells[6]) + 1)
    return row_changed(files, 100, lambda _: b",".join(cells))


def taken_out(files: Files) -> dict[str, bytes]:
    return row_changed(files, 100, lambda _: b"")


def put_in_twice(files: Files) -> dict[str, bytes]:
    return row_changed(files, 100, lambda row: row * 2)


def two_swapped(files: Files) -> dict[str, bytes]:
    rows = lines(files["readings.csv"])
    rows[100], rows[101] = rows[101], rows[100]
    return {"readings.csv": b"".join(rows)}


def the_end_cut(files: Files) -> dict[str, bytes]:
    return {"readings.csv": b"".join(lines(files["readings.csv"])[:-3])}


def of_another_sensor(files: Files) -> dict[str, bytes]:
    return row_changed(files, 101, lambda row: row.replace(b"hull", b"yard").replace(b"bench", b"yard"))


def later(files: Files) -> dict[str, bytes]:
    return row_changed(files, 101, lambda row: row.replace(b":00.", b":01.", 1).replace(b":07.", b":08.", 1))


def in_the_gap(files: Files) -> dict[str, bytes]:
    cells = lines(files["readings.csv"])[200].split(b",")
    cells[2] = cells[3] = b"2026-11-26T04:30:00.000Z"
    return row_changed(files, 200, lambda row: row + b",".join(cells))


def a_stretch_again(files: Files) -> dict[str, bytes]:
    rows = lines(files["readings.csv"])
    block = rows[30].split(b",")[0] + b","
    again = [row for row in rows[30:60] if row.startswith(block)]
    return {"readings.csv": b"".join([*rows[: 30 + len(again)], *again, *rows[30 + len(again) :]])}


def a_stretch_of_another_sensor(files: Files) -> dict[str, bytes]:
    return {"readings.csv": files["readings.csv"].replace(b",yard,", b",hull,")}


READINGS = [
    *(warmer, taken_out, put_in_twice, two_swapped, the_end_cut, of_another_sensor, later),
    *(in_the_gap, a_stretch_again, a_stretch_of_another_sensor),
]


def another_lot(files: Files) -> dict[str, bytes]:
    return {"entries.jsonl": files["entries.jsonl"].replace(b"R-2217", b"R-2218", 1)}


def without_the_alert(files: Files) -> dict[str, bytes]:
    kept = [row for row in lines(files["entries.jsonl"]) if b'"kind":"alert"' not in row]
    return {"entries.jsonl": b"".join(kept)}


def without_the_note(files: Files) -> dict[str, bytes]:
    kept = [row for row in lines(files["entries.jsonl"]) if b"Dry-fitted" not in row]
    return {"entries.jsonl": b"".join(kept)}


def an_entry_twice(files: Files) -> dict[str, bytes]:
    rows = lines(files["entries.jsonl"])
    return {"entries.jsonl": b"".join([rows[0], *rows])}


def two_entries_swapped(files: Files) -> dict[str, bytes]:
    rows = lines(files["entries.jsonl"])
    return {"entries.jsonl": b"".join([*rows[:3], rows[4], rows[3], *rows[5:]])}


def another_owner(files: Files) -> dict[str, bytes]:
    rows = lines(files["digests.csv"])
    place = next(n for n, row in enumerate(rows) if b",note," in row)
    cells = rows[place].split(b",")
    cells[3] = b"0" * 32
    rows[place] = b",".join(cells)
    return {"digests.csv": b"".join(rows)}


def invented(files: Files) -> dict[str, bytes]:
    row = lines(files["entries.jsonl"])[-1].replace(b'"number":', b'"number":9', 1)
    return {"entries.jsonl": files["entries.jsonl"] + row}


def two_digests_swapped(files: Files) -> dict[str, bytes]:
    rows = lines(files["digests.csv"])
    return {"digests.csv": b"".join([*rows[:5], rows[6], rows[5], *rows[7:]])}


def gone_with_its_digest(files: Files) -> dict[str, bytes]:
    return {name: b"".join(lines(files[name])[:-1]) for name in ("entries.jsonl", "digests.csv")}


ENTRIES = [
    *(another_lot, without_the_alert, without_the_note, an_entry_twice, two_entries_swapped),
    *(another_owner, invented, two_digests_swapped, gone_with_its_digest),
]


def another_head(files: Files) -> dict[str, bytes]:
    rows = lines(files["blocks.csv"])
    cells = rows[5].split(b",")
    cells[6] = b"0" * 64
    rows[5] = b",".join(cells)
    return {"blocks.csv": b"".join(rows)}


def another_head_before(files: Files) -> dict[str, bytes]:
    rows = lines(files["blocks.csv"])
    cells = rows[5].split(b",")
    cells[1] = b"0" * 64
    rows[5] = b",".join(cells)
    return {"blocks.csv": b"".join(rows)}


def two_blocks_swapped(files: Files) -> dict[str, bytes]:
    """With their readings."""
    rows, readings = lines(files["blocks.csv"]), lines(files["readings.csv"])
    fifth, sixth = (rows[n].split(b",")[0] + b"," for n in (5, 6))
    moved = [row for row in readings if row.startswith(fifth)]
    kept = [row for row in readings if row not in moved]
    after = max(n for n, row in enumerate(kept) if row.startswith(sixth)) + 1
    return {
        "blocks.csv": b"".join([*rows[:5], rows[6], rows[5], *rows[7:]]),
        "readings.csv": b"".join([*kept[:after], *moved, *kept[after:]]),
    }


def the_last_block_cut(files: Files) -> dict[str, bytes]:
    """With everything in it: all the rest is genuine, and no seal names its end."""
    rows = lines(files["blocks.csv"])
    last = rows[-1].split(b",")[0] + b","
    kept = {
        name: b"".join(row for row in lines(files[name]) if not row.startswith(last))
        for name in ("blocks.csv", "readings.csv", "digests.csv")
    }
    entries = (row for row in lines(files["entries.jsonl"]) if b'"block":' + last not in row)
    return {**kept, "entries.jsonl": b"".join(entries)}


def a_block_of_another_one(files: Files) -> dict[str, bytes]:
    """The readings of the fourth block under the number of the third, with a digest that fits them."""
    rows = [row for row in lines(files["readings.csv"]) if not row.startswith(b"3,")]
    borrowed = [b"3," + row.split(b",", 1)[1] for row in rows if row.startswith(b"4,")]
    at = next(n for n, row in enumerate(rows) if row.startswith(b"4,"))
    blocks = lines(files["blocks.csv"])
    third, fourth = blocks[3].split(b","), blocks[4].split(b",")
    digest = sha256(b"".join(borrowed)).hexdigest().encode()
    blocks[3] = b",".join([*third[:2], fourth[2], digest, *third[4:]])
    return {"readings.csv": b"".join(rows[:at] + borrowed + rows[at:]), "blocks.csv": b"".join(blocks)}


CHAIN = [
    *(another_head, another_head_before, two_blocks_swapped, the_last_block_cut),
    a_block_of_another_one,
]


def any_readings(content: bytes, links):
    """Step 3 without its digests."""
    rows, forms = lines(content)[1:], {link.face.number: link.face.form for link in links}
    runs = groupby(rows, lambda row: int(row.split(b",")[0]))
    found = [BlockLines(block, forms[block], b"".join(told)) for block, told in runs]
    return len(rows), *read_rows(found)


def any_entries(files: Files, links):
    """Step 4 without digests, order and choice."""
    return [entry.stored(row.decode()) for row in lines(files["entries.jsonl"])], 0


@pytest.fixture
def unsaid(sealed: Sealed, monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """Without making the pages again, which would find most of it, too."""
    pages = sealed.pages
    monkeypatch.setattr(verification, "check_said", lambda *_: pages)
    return monkeypatch


def found_by(
    sealed: Sealed, change: Callable, unsaid: pytest.MonkeyPatch, step: str, without: Callable
) -> None:
    files = attacked(sealed, change, ATTACKERS[2])
    with pytest.raises(RecordBroken):
        verify_files(files)
    unsaid.setattr(verification, step, without)
    assert verify_files(files)


@pytest.mark.parametrize("change", READINGS)
def test_changed_readings_hold_without_their_digests(sealed: Sealed, unsaid: pytest.MonkeyPatch, change):
    """Edited, taken out, put in, twice, swapped, cut, another sensor's, later."""
    found_by(sealed, change, unsaid, "_check_readings", any_readings)


@pytest.mark.parametrize("change", ENTRIES)
def test_changed_entries_hold_without_their_digests(sealed: Sealed, unsaid: pytest.MonkeyPatch, change):
    """Edited, left out, made up, twice, swapped, given to another job."""
    found_by(sealed, change, unsaid, "_check_entries", any_entries)


@pytest.mark.parametrize("change", CHAIN)
def test_a_changed_chain_holds_without_its_heads(sealed: Sealed, unsaid: pytest.MonkeyPatch, change):
    """Another head, another one before, another order, an earlier end, another block's readings."""
    found_by(sealed, change, unsaid, "_check_chain", lambda links, seal: None)


@pytest.mark.parametrize("change", [without_the_alert, without_the_note])
def test_what_is_left_out_holds_without_the_choice(sealed: Sealed, unsaid: pytest.MonkeyPatch, change):
    """That step alone misses it: everything that is there is genuine."""
    found_by(sealed, change, unsaid, "_check_choice", lambda *_: None)


@pytest.mark.parametrize("name", ["account.json", "pages.json", "readings.csv", "seal.txt"])
def test_a_change_that_was_not_signed_holds_without_the_list(sealed: Sealed, name: str, monkeypatch):
    """The passer-by has no key: the list of digests finds him before anything else does."""
    files = attacked(sealed, lambda files: {name: files[name] + b"\n"}, ATTACKERS[0])
    with pytest.raises(RecordBroken, match=name.replace(".", r"\.")):
        verify_files(files)
    monkeypatch.setattr(verification, "_check_list", lambda files: None)
    with pytest.raises(RecordBroken, match=r"^(account|pages|readings|seal)"):
        verify_files(files)  # the next step finds it: the list is not the only one


@pytest.mark.parametrize("name", ["files.sig", "seal.sig"])
@pytest.mark.parametrize("place", [0, 31, 63])
@pytest.mark.few(2)
def test_a_signature_of_one_bit_less_holds_unchecked(sealed: Sealed, name: str, place: int, monkeypatch):
    """Any bit of it."""
    bent = bytearray(sealed.files[name])
    bent[place] ^= 1
    attacker = ATTACKERS[0] if name == "files.sig" else ATTACKERS[2]
    files = attacked(sealed, lambda files: {name: bytes(bent)}, attacker)
    if name == "files.sig":
        files["files.sig"] = bytes(bent)
    with pytest.raises(RecordBroken, match=r"signature of key"):
        verify_files(files)
    monkeypatch.setattr(verification, "check_signature", lambda *_: None)
    assert verify_files(files)
