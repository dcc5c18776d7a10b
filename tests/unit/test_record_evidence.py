"""Lines of readings are read many at once; what comes out is what was written, and nothing else passes."""

from dataclasses import dataclass

import numpy as np
import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import columns, rows
from curewatch.record import evidence
from curewatch.record.evidence import BlockLines, read_rows

TOKENS = {1: "bench", 2: "h%C3%BCll", 3: "yard/north:2"}


@dataclass(frozen=True)
class Line:
    """One line of form 2, a word in it exchanged."""

    block: str = "7"
    sensor: str = "bench"
    time: str = "2026-11-27T00:30:00.000Z"
    received: str = "2026-11-27T00:30:00.250Z"
    flags: str = "0"
    sequence: str = "17"
    temperature: str = "16.450"
    humidity: str = "62.000"
    carbon_dioxide: str = "612.5"
    battery: str = ""
    pressure: str = "1013.250"

    def written(self) -> bytes:
        return (",".join(vars(self).values()) + "\n").encode()


def made(count: int, rng: np.random.Generator) -> rows.Rows:
    """Rows of every size that can be kept, some with nothing in them."""
    found = np.zeros(count, columns.newest().row)
    found["sensor"] = rng.integers(1, 4, count)
    found["time"] = rng.integers(-(10**13), 10**14, count)
    found["received"] = found["time"] + 250
    found["flags"] = rng.integers(0, 2**16, count)
    found["sequence"] = rng.integers(-(2**62) + 1, 2**62, count) >> rng.integers(0, 60, count)
    for one in columns.newest().quantities:
        found[one.name] = rng.integers(-2 * 10**9 + 1, 2 * 10**9, count) >> rng.integers(0, 31, count)
        found[one.name][rng.random(count) < 0.2] = columns.NOTHING
    found["sequence"][rng.random(count) < 0.2] = rows.NO_SEQUENCE
    return found


@pytest.mark.parametrize("form", [1, 2])
def test_what_was_written_is_read(form: int, monkeypatch: pytest.MonkeyPatch):
    """Of several blocks at once and one by one, to the last number."""
    rng = np.random.default_rng(4)
    kept = {block: made(400, rng) for block in range(3, 9)}
    blocks = [BlockLines(n, form, rows.lines(n, form, each, TOKENS).encode()) for n, each in kept.items()]
    for at_once in (evidence.AT_ONCE, 1):
        monkeypatch.setattr(evidence, "AT_ONCE", at_once)
        found, tokens = read_rows(blocks)
        assert set(tokens.values()) == set(TOKENS.values())
        for one in found:
            assert rows.lines(one.block, form, one.rows, tokens) == rows.lines(
                one.block, form, kept[one.block], TOKENS
            )


ODD = {
    "block": ["8", "07", "+7", ""],
    "sensor": ["%62ench", "be nch", "h\u00fcll", "%c3%bc"],
    "time": ["2026-02-30T00:30:00.000Z", "2026-11-27T24:00:00.000Z", "2026-11-27 00:30:00.000Z", ""],
    "received": ["2026-11-27T00:60:00.000Z", "2026-11-27T00:30:00.00Z", "2026-11-27T00:30:00.000z"],
    "flags": ["", "-1", "65536", "01", "1.0"],
    "sequence": ["-0", "017", "+17", "1e3", "9999999999999999999", "9" * 40, "4611686018427387904"],
    "temperature": ["16.45", "-0.000", "016.450", ".450", "+16.450", "16,450", "nan", "1e1", "2000000.000"],
    "humidity": ["62", "62.0000", "6 2.000", "-", "--1.000", "6-2.000"],
    "carbon_dioxide": ["612", "612.50", "612-5"],
    "pressure": ["1013.25", "1013.25O"],
}


@pytest.mark.parametrize(("word", "said"), [(word, one) for word, several in ODD.items() for one in several])
@pytest.mark.few(6)
def test_a_word_that_this_program_does_not_write_is_refused(word: str, said: str):
    """And the block is named; the lines about it are read."""
    good = Line().written()
    bad = Line(**{word: said}).written()
    with pytest.raises(RecordBroken, match="block 7"):
        read_rows([BlockLines(6, 2, good.replace(b"7,", b"6,", 1)), BlockLines(7, 2, good + bad + good)])
    assert len(read_rows([BlockLines(7, 2, good * 3)])[0][0].rows) == 3


def test_blocks_without_readings_are_read():
    """Alone, and among others: a job without sensors has a record, too."""
    good = Line().written()
    for blocks in ([b""], [b"", b""], [b"", good, b""]):
        found, _ = read_rows([BlockLines(7, 2, each) for each in blocks])
        assert [len(one.rows) for one in found] == [each.count(b"\n") for each in blocks]
