"""Attack: a line that is read in two ways, or stops whoever reads it. The owner writes the chain himself.

Numbers that JSON has not, depth, digits without end, names twice, letters that are none: each line must be
as this program writes it, or the record does not hold. Never a traceback, never minutes. Program, page of
shell, and page of shell with busybox alone say the same of each.
"""

from hashlib import sha256
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import entry
from curewatch.record import verification
from curewatch.record.verification import verify_files
from tests.record_attacks import OwnChain, Sealed, shell_check, spent

ODD = {
    "no number": '"text":NaN',
    "without end": '"text":Infinity',
    "more than any number": '"text":1e400',
    "another form of a number": '"text":1E5',
    "a power of ten": '"text":1e5',
    "a nought before": '"text":01',
    "a nought behind": '"text":1.50',
    "a nought with a sign": '"text":-0',
    "more digits than there are": '"text":0.1000000000000000055',
    "a digit less": '"text":0.30000000000000003',
    "a long way of a power": '"text":100000000000000000.0',
    "depth": '"text":' + "[" * 5000 + "]" * 5000,
    "a little depth": '"text":"on","x":' + "[" * 63 + "]" * 63,
    "digits": '"text":' + "9" * 5000,
    "a letter written out": '"text":"\\u0061"',
    "a line feed written out": '"text":"\\u000a"',
    "a name twice": '"text":"off","text":"on"',
    "a name twice deep below": '"text":"on","x":[1,{"a":{"held":1,"held":0}}]',
    "blanks": '"text": "on"',
    "another order": '"text":"on","a":1',
    "letters before signs": '"text":"on","\\u00e9":1,"z":2',
    "two letters for one": '"text":"on","\\ud83d\\ude00":1,"\\uffee":2',
    "a sign behind letters": '"text":"on","x":{"a\\"b":1,"a!":2}',
    "a bar before a letter": '"text":"on","x":{"a\\\\":1,"aZ":2}',
    "a name without end": '"text":"on","' + "x" * 2001 + '":1',
    "a tab": '"text":"a\tb"',
}
SIGNS = ("", " ", "!", '"', '"a', "A", "\\", "\\\\", "]", "a", "\n", "\t\x01", "\x7f", "\x7fa")
LETTERS = ("z", "\xe9", "\u0142", "\ud7ff", "\ue000", "\uffee", "\U0001f44d", "\U0010ffff")
EVEN = {
    "whole numbers": [0, -1, 10**30],
    "numbers": [1.5, -2.25e-05, 0.0001, -0.0, 0.1, 1e16, 1.7976931348623157e308, 5e-324, 123456.789, 2.5e-5],
    "signs": dict.fromkeys(SIGNS, 1),
    "letters": {name: [{}] for name in LETTERS},
    "texts": ['a"b', "\\", '\\"', '","a":"', "{[1,", "\u2028", ""],
    "depth": [[[[[[{"a": [[[]]]}]]]]]],
}


def lines_of(files: dict[str, bytes], folder: Path) -> Path:
    folder.mkdir()
    for file, content in files.items():
        (folder / file).write_bytes(content)
    return folder


def with_note(sealed: Sealed, words: str) -> OwnChain:
    """The note of the job says these words in place of its own."""
    own = OwnChain(sealed)
    note = own.of_kind("note")
    line = entry.canonical(note)
    start, end = line.index('"payload":{') + 11, line.index('},"recorded"')
    own.texts[note["number"]] = line[:start] + words + line[end:]
    assert own.texts[note["number"]] != line
    return own


def must_be_refused(files: dict[str, bytes], folder: Path, few_tools: str) -> None:
    """By program, page of shell, and that with busybox alone, in less than a few seconds."""
    begun = spent()
    with pytest.raises(RecordBroken):
        verify_files(files)
    lines_of(files, folder)
    for path in (None, few_tools):
        said = shell_check(folder, path=path)
        assert (said.returncode, said.stderr) == (5, ""), said.stdout
    assert spent() - begun < 20


@pytest.mark.long
@pytest.mark.parametrize("name", ODD)
@pytest.mark.few(2)
def test_a_line_is_as_this_program_writes_it(sealed: Sealed, folder: Path, few_tools: str, name: str):
    """The note says something else to other readers."""
    own = with_note(sealed, ODD[name])
    try:
        files = own.made()
    except (ValueError, RecursionError):
        pytest.skip("this chain cannot even be made")
    must_be_refused(files, folder, few_tools)


@pytest.mark.long
def test_a_line_of_many_kinds_holds(sealed: Sealed, folder: Path, few_tools: str):
    """What is refused above is refused for what is odd: all that this program writes holds in both checks."""
    own = OwnChain(sealed)
    own.of_kind("note")["payload"] |= EVEN
    files = own.made()
    assert verify_files(files)
    lines_of(files, folder)
    for path in (None, few_tools):
        said = shell_check(folder, path=path)
        assert said.returncode == 0, said.stdout + said.stderr


def test_a_letter_that_is_none_is_text(sealed: Sealed):
    """Plain JSON, as this program would write it; the pages say something else."""
    with pytest.raises(RecordBroken, match="what readings and entries give"):
        verify_files(with_note(sealed, '"text":"\\ud800"').made())


READINGS = {
    "sensor": (1, ["%62ench", "be~nch%2D", "%FF", "%C3%28", "%ED%A0%80", "%c3%a9", "x" * 1999]),
    "time": (2, ["2026-02-30T00:30:00.000Z", "2026-11-25T24:00:00.000Z", "0000-03-01T00:00:00.000Z", ""]),
    "flags": (4, ["65536", "00", "-1", ""]),
    "sequence": (5, ["-0", "017", "4611686018427387904", "-9223372036854775808", "1.0"]),
    "temperature": (6, ["16.45", "-0.000", "016.450", "2000000.000", "1e1"]),
    "carbon dioxide": (8, ["612", "200000000.0", "-0.0"]),
    "pressure": (10, ["1013.25", None]),
    "block": (0, ["05", "6"]),
}


def with_reading(sealed: Sealed, place: int, word: str | None) -> OwnChain:
    """One word of a reading of the fifth block is another, or is missing; its digest fits."""
    own = OwnChain(sealed)
    number = own.blocks[4][0] + ","
    rows = own.files["readings.csv"].decode().splitlines(keepends=True)
    at = next(n for n, row in enumerate(rows) if row.startswith(number))
    cells = rows[at].rstrip("\n").split(",")
    cells[place : place + 1] = [] if word is None else [word]
    rows[at] = ",".join(cells) + "\n"
    own.files["readings.csv"] = "".join(rows).encode()
    mine = rows[at : at + int(own.blocks[4][2])]
    own.blocks[4][3] = sha256("".join(mine).encode()).hexdigest()
    return own


@pytest.mark.long
@pytest.mark.parametrize(
    ("place", "word"), [(place, word) for place, several in READINGS.values() for word in several]
)
@pytest.mark.few(2)
def test_a_reading_is_as_this_program_writes_it(
    sealed: Sealed, folder: Path, few_tools: str, place: int, word: str | None
):
    """Another way to write a number, a day that is none, a second name of a sensor."""
    must_be_refused(with_reading(sealed, place, word).made(), folder, few_tools)


@pytest.mark.long
@pytest.mark.parametrize("sensor", ["h%C3%BCll", "%F0%9F%91%8D", "%2Da", "a%20b", "yard/north:2~x", "%00"])
@pytest.mark.few(1)
def test_a_sensor_of_any_name_is_read(sealed: Sealed, folder: Path, few_tools: str, sensor: str):
    """The control: the lines are taken by both, and the program finds that the pages say something else."""
    files = with_reading(sealed, 1, sensor).made()
    with pytest.raises(RecordBroken, match="what readings and entries give"):
        verify_files(files)
    lines_of(files, folder)
    for path in (None, few_tools):
        assert shell_check(folder, path=path).returncode == 0


@pytest.mark.parametrize("name", ["blanks", "a name twice", "another order"])
@pytest.mark.few(1)
def test_without_that_check_it_is_not_the_line_that_is_refused(sealed: Sealed, name: str, monkeypatch):
    """The control."""
    files = with_note(sealed, ODD[name]).made()
    monkeypatch.setattr(verification, "_is_canonical", lambda line: True)
    with pytest.raises(RecordBroken, match="what readings and entries give"):
        verify_files(files)


@pytest.mark.long
@pytest.mark.parametrize(
    "stamp", ["2026-11-27T00:30:00+05:00", "2026-11-27T00:30:00Z", "20261127T003000.000Z"]
)
@pytest.mark.parametrize("name", ["at", "recorded"])
@pytest.mark.few(1)
def test_a_time_is_written_in_one_way(sealed: Sealed, tmp_path: Path, name: str, stamp: str, monkeypatch):
    """Other readers may take it for another time; both checks refuse it. The control: unlooked at."""
    own = OwnChain(sealed)
    own.of_kind("note")[name] = stamp
    files = own.made()
    with pytest.raises(RecordBroken, match="as this program writes it"):
        verify_files(files)
    (tmp_path / "made").mkdir()
    for file, content in files.items():
        (tmp_path / "made" / file).write_bytes(content)
    assert shell_check(tmp_path / "made").returncode == 5
    monkeypatch.setattr(verification, "_is_canonical", lambda line: True)
    with pytest.raises(RecordBroken, match="what readings and entries give"):
        verify_files(files)


NO_DAYS = ["2026-02-30", "2026-02-29", "2100-02-29", "2026-11-31", "0000-02-29", "2026-04-31"]


@pytest.mark.long
@pytest.mark.parametrize("day", NO_DAYS)
@pytest.mark.parametrize("name", ["at", "recorded"])
@pytest.mark.few(1)
def test_a_day_is_one_that_there_is(sealed: Sealed, folder: Path, few_tools: str, name: str, day: str):
    """Nobody can say when that was."""
    own = OwnChain(sealed)
    own.of_kind("note")[name] = f"{day}T00:30:00.000Z"
    must_be_refused(own.made(), folder, few_tools)


@pytest.mark.long
@pytest.mark.parametrize("day", ["2000-02-29", "2028-02-29", "0004-02-29", "9999-12-31", "2026-04-30"])
@pytest.mark.few(1)
def test_a_day_that_there_is_is_read(sealed: Sealed, folder: Path, few_tools: str, day: str):
    """The control: both read the line, and the program finds that the pages say something else."""
    own = OwnChain(sealed)
    own.of_kind("note")["at"] = f"{day}T00:30:00.000Z"
    files = own.made()
    with pytest.raises(RecordBroken, match="what readings and entries give"):
        verify_files(files)
    lines_of(files, folder)
    for path in (None, few_tools):
        assert shell_check(folder, path=path).returncode == 0
