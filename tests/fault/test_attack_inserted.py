"""Attack: something is put in that was never appended."""

from pathlib import Path

import pytest

from tests.record_attacks import ATTACKERS, Sealed, answers, attacked, lines


@pytest.mark.parametrize("attacker", ATTACKERS)
def test_an_inserted_reading_is_found(sealed: Sealed, folder: Path, attacker: str):
    """A reading fills the gap in the night: it was not in its block."""

    def filled(files: dict[str, bytes]) -> dict[str, bytes]:
        rows = lines(files["readings.csv"])
        cells = rows[200].split(b",")
        cells[2] = cells[3] = b"2026-11-26T04:30:00.000Z"
        return {"readings.csv": b"".join([*rows[:201], b",".join(cells), *rows[201:]])}

    found = answers(attacked(sealed, filled, attacker), folder)
    assert "readings" in found.broken or "files.sha256" in found.broken
    assert found.shell == 5


@pytest.mark.parametrize("attacker", ATTACKERS)
def test_an_inserted_entry_is_found(sealed: Sealed, folder: Path, attacker: str):
    """A check that was never made, with a digest of its own in the list."""

    def invented(files: dict[str, bytes]) -> dict[str, bytes]:
        row = lines(files["entries.jsonl"])[-1].replace(b'"number":', b'"number":9', 1)
        return {"entries.jsonl": files["entries.jsonl"] + row}

    found = answers(attacked(sealed, invented, attacker), folder)
    assert found.broken
    assert found.shell == 5
