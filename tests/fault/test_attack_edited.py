"""Attack: one value of a reading, one time, one word of an entry, or a heading is edited in place."""

import re
from pathlib import Path

import pytest

from tests.fault import test_attack_controls as controls
from tests.record_attacks import ATTACKERS, Change, Sealed, answers, attacked, lines


def an_entry_later(files: dict[str, bytes]) -> dict[str, bytes]:
    """The layer is told of the day after."""
    rows = lines(files["entries.jsonl"])
    place = next(n for n, row in enumerate(rows) if b'"kind":"layer"' in row)
    rows[place] = re.sub(rb"-(\d\d)T", lambda day: b"-%02dT" % (int(day[1]) + 1), rows[place], count=1)
    return {"entries.jsonl": b"".join(rows)}


def another_heading(files: dict[str, bytes]) -> dict[str, bytes]:
    """Kelvin are called degrees Celsius, or one column another."""
    heading, *rows = lines(files["readings.csv"])
    return {"readings.csv": b"".join([heading.upper(), *rows])}


def another_digest_of_a_block(files: dict[str, bytes]) -> dict[str, bytes]:
    rows = lines(files["blocks.csv"])
    cells = rows[4].split(b",")
    cells[3] = b"0" * 64
    return {"blocks.csv": b"".join([*rows[:4], b",".join(cells), *rows[5:]])}


EDITED = [
    *(controls.warmer, controls.later, controls.another_lot),
    *(an_entry_later, another_heading, another_digest_of_a_block),
]


@pytest.mark.parametrize("attacker", ATTACKERS)
@pytest.mark.parametrize("change", EDITED)
@pytest.mark.few(3)
def test_what_is_edited_is_found(sealed: Sealed, folder: Path, change: Change, attacker: str):
    """A temperature, a time, a lot, a heading, a digest: both checks say so, whoever did it."""
    found = answers(attacked(sealed, change, attacker), folder)
    assert found.broken
    assert found.shell == 5
