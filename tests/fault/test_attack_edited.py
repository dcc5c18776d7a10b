"""Attack: one value of a reading, or one word of an entry, is edited in place."""

from pathlib import Path

import pytest

from tests.record_attacks import ATTACKERS, Sealed, answers, attacked, lines


@pytest.mark.parametrize("attacker", ATTACKERS)
def test_an_edited_reading_is_found(sealed: Sealed, folder: Path, attacker: str):
    """One temperature is a degree warmer than it was: both checks say so, whoever did it."""

    def warmer(files: dict[str, bytes]) -> dict[str, bytes]:
        rows = lines(files["readings.csv"])
        cells = rows[100].split(b",")
        cells[4] = b"%.3f" % (float(cells[4]) + 1)
        rows[100] = b",".join(cells)
        return {"readings.csv": b"".join(rows)}

    found = answers(attacked(sealed, warmer, attacker), folder)
    assert found.broken.startswith(("readings", "files.sha256"))
    assert found.shell == 5


@pytest.mark.parametrize("attacker", ATTACKERS)
def test_an_edited_entry_is_found(sealed: Sealed, folder: Path, attacker: str):
    """Another resin lot in an entry: the entry is named, or the file that holds it."""

    def another_lot(files: dict[str, bytes]) -> dict[str, bytes]:
        return {"entries.jsonl": files["entries.jsonl"].replace(b"R-2217", b"R-2218", 1)}

    found = answers(attacked(sealed, another_lot, attacker), folder)
    assert found.broken.startswith(("entries.jsonl", "entry ", "files.sha256"))
    assert found.shell == 5
