"""What a record's lines may hold, and how much of them a message quotes. A record comes from outside."""

import json
from contextlib import nullcontext
from hashlib import sha256
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import chain, columns, entry
from curewatch.record import verification as checks
from curewatch.record.proof import BLOCKS_HEADER, DIGESTS_HEADER
from curewatch.record.reckoning import Link

DIGEST = "a" * 64
DIGESTS = ("previous", "readings_digest", "entries_digest", "head")
LONG = "x" * 300
AT = "2026-06-01T08:00:00.000Z"
TOLD = {"number": 3, "block": 7, "kind": "note", "at": AT, "recorded": AT, "job": None, "key": None}
TOLD["payload"] = {"text": "x"}


def block(**changed: str) -> str:
    """A line of blocks.csv that is in order, but for what is changed."""
    names = BLOCKS_HEADER.split(",")
    kept = dict(zip(names, ["7", DIGEST, "3", DIGEST, "2", DIGEST, DIGEST, "here", "1"], strict=True))
    return ",".join({**kept, **changed}.values())


def blocks(line: str) -> str:
    return f"{BLOCKS_HEADER}\n{line}\n"


def links_of(entries: str = "", count: int = 0, readings: str = "") -> list[Link]:
    """One block with so many entries of this text."""
    digests = [sha256(each.encode()).hexdigest() for each in (readings, entries)]
    face = chain.Face(1, 7, DIGEST, readings.count("\n"), digests[0], count, digests[1])
    return [Link(face, chain.head(face), True)]


def test_a_block_is_read_from_its_line() -> None:
    """The control of the next: each cell at its place."""
    (link,) = checks._links(blocks(block()))
    assert link == Link(chain.Face(1, 7, DIGEST, 3, DIGEST, 2, DIGEST), DIGEST, True)
    (out,) = checks._links(blocks(block(readings_are="left out")))
    assert not out.readings_are_here


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        (block() + ",more", "a block"),
        (block().rpartition(",")[0], "a block"),
        *((block(**{name: "07"}), "a block") for name in ("block", "readings", "entries", "form")),
        *((block(entries=bad), "a block") for bad in ("", "-1", "1e3", "1" * 16)),
        *((block(**{name: DIGEST[1:]}), "digests of 64") for name in DIGESTS),
        *((block(head=bad), "digests of 64") for bad in ("", DIGEST + "a", DIGEST.upper())),
        (block(readings_are="there"), "readings that are here, or left out"),
    ],
)
def test_a_block_that_is_none_is_refused(line: str, expected: str) -> None:
    """By the number of its line in the file."""
    with pytest.raises(RecordBroken, match=rf"^blocks\.csv line 2: expected {expected}"):
        checks._links(blocks(line))
    with pytest.raises(RecordBroken, match=r"^blocks\.csv line 3"):
        checks._links(blocks(f"{block()}\n{line}"))


def quoted(work) -> str:
    with pytest.raises(RecordBroken) as broken:
        work()
    return broken.value.found


def test_a_message_quotes_no_more_than_eighty_characters() -> None:
    """Of whatever file, and whatever stands there."""
    listed = f"{LONG}\n"
    readings = columns.form(1).heading.encode()
    found = {
        "heading": quoted(lambda: checks._table(f"{LONG}\n", "blocks.csv", BLOCKS_HEADER)),
        "no line feed": quoted(lambda: checks._lines(LONG, "blocks.csv")),
        "no block": quoted(lambda: checks._links(blocks(LONG))),
        "no digests": quoted(lambda: checks._links(blocks(block(head=LONG)))),
        "neither here nor left out": quoted(lambda: checks._links(blocks(block(readings_are=LONG)))),
        "no entry": quoted(lambda: checks._entry(LONG, {})),
        "another way to write": quoted(lambda: checks._entry(json.dumps(TOLD | {"job": LONG}), {})),
        "not listed": quoted(
            lambda: checks._check_entries(
                {"digests.csv": f"{DIGESTS_HEADER}\n7,{listed}".encode()}, links_of(listed, 1)
            )
        ),
    }
    assert {name: len(each) for name, each in found.items()} == dict.fromkeys(found, 80)
    bytes_found = quoted(lambda: checks._check_readings(LONG.encode(), links_of()))
    assert bytes_found == f"{b'x' * 80!r}"
    with pytest.raises(RecordBroken) as apart:
        checks._by_block([LONG, "7", LONG], "digests.csv")
    assert apart.value.expected == f"the lines of block {LONG[:20]} together"
    ending = quoted(lambda: checks._check_readings(readings + b"\n" + b"y" * 80, links_of()))
    assert ending == f"{b'y' * 80!r}"


@pytest.mark.parametrize(
    ("name", "shortest"), [("blocks.csv", 200), ("digests.csv", 70), ("entries.jsonl", 100)]
)
def test_a_file_has_no_more_lines_than_its_size_can_bear(name: str, shortest: int) -> None:
    """All but the heading of the length of the shortest, the heading of none."""
    bearable = "\n" + ("x" * (shortest - 1) + "\n") * 9
    assert len(checks._lines(bearable, name)) == 10
    with pytest.raises(RecordBroken, match=f"lines of {shortest} characters or more"):
        checks._lines(bearable[:-3] + "\n", name)
    assert len(checks._lines(bearable[:-2] + "\n", name)) == 10


@pytest.mark.parametrize(("length", "taken"), [(50, True), (49, False), (2000, True), (2001, False)])
def test_a_reading_has_its_length(length: int, taken: bool) -> None:
    """A line feed counts; a file without readings is one, too."""
    heading = columns.form(1).heading
    text = f"{heading}\n{'x' * (length - 1)}\n".encode()
    with nullcontext() if taken else pytest.raises(RecordBroken, match="a longer or shorter one"):
        assert checks._line_ends(text, heading).tolist() == [len(heading) + 1, len(text)]
    assert checks._line_ends(f"{heading}\n".encode(), heading).tolist() == [len(heading) + 1]
    assert checks._heading([]) == heading


def test_values_lie_in_bounded_depth_and_names_have_a_bounded_length() -> None:
    """As many as the page of shell reads. A list counts as a table does."""
    shell = (Path(checks.__file__).parent / "files" / "check.sh").read_text()
    assert f"deep < {checks.DEEPEST} " in shell
    assert f"length(name) > {checks.LONGEST_NAME})" in shell
    tables: object = 0
    lists: object = 0
    for _ in range(checks.DEEPEST):
        tables, lists = {"a": tables}, [lists]
    for deepest in (tables, lists):
        assert checks._is_bounded(deepest, checks.DEEPEST)
        assert not checks._is_bounded([deepest], checks.DEEPEST)
        assert not checks._is_bounded({"a": 0, "b": deepest}, checks.DEEPEST)
    assert checks._is_bounded({"n" * checks.LONGEST_NAME: [1, "s" * 9999]}, 3)
    assert not checks._is_bounded({"n" * (checks.LONGEST_NAME + 1): 1}, 3)
    assert not checks._is_bounded([{"n" * (checks.LONGEST_NAME + 1): 1}], 3)


def test_an_entry_is_as_it_is_listed_and_as_this_program_writes_it() -> None:
    """Another order of its names, another way of its time, another digest, no line in the list: refused."""
    line = entry.canonical(TOLD)
    assert json.loads(line)["number"] == 3
    listed = {3: f"7,{entry.digest_line(line)}".rstrip("\n")}
    assert checks._entry(line, listed).number == 3
    for other, expected in (
        (json.dumps(json.loads(line)), "as this program writes it"),
        (line.replace("08:00:00.000Z", "10:00:00.000+02:00"), "as this program writes it"),
        (line.replace('"x"', "NaN"), "as this program writes it"),
        (line.replace('"x"', '"y"'), "7,3,note"),
    ):
        with pytest.raises(RecordBroken, match=expected):
            checks._entry(other, listed)
    with pytest.raises(RecordBroken, match="no such entry"):
        checks._entry(line, {})
    with pytest.raises(RecordBroken) as long:
        checks._entry(line, {3: LONG})
    assert long.value.expected == LONG[:200]


@pytest.mark.parametrize(("block", "told"), [(4, ""), (5, "it is left out")])
def test_of_the_shed_nothing_is_left_out_from_the_first_block_of_readings_on(block: int, told: str) -> None:
    """In the block before it, it may be."""
    listed = {1: f"4,1,job-open,cheek,{DIGEST}", 2: f"{block},2,gap,-,{DIGEST}"}
    with pytest.raises(RecordBroken, match=told) if told else nullcontext():
        checks._check_choice(listed, {1}, 5)
