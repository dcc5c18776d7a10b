"""Attack: readings of another sensor are slipped in under this one's name."""

from pathlib import Path

import pytest

from tests.record_attacks import ATTACKERS, Sealed, answers, attacked, lines


@pytest.mark.parametrize("attacker", ATTACKERS)
def test_a_stretch_of_another_sensor_is_found(sealed: Sealed, folder: Path, attacker: str):
    """The outside sensor's stretch is renamed to the hull's: every line is genuine, none in its place."""

    def renamed(files: dict[str, bytes]) -> dict[str, bytes]:
        rows = lines(files["readings.csv"])
        return {
            "readings.csv": b"".join(rows[:30] + [row.replace(b",yard,", b",hull,") for row in rows[30:]])
        }

    found = answers(attacked(sealed, renamed, attacker), folder)
    assert "readings" in found.broken or "files.sha256" in found.broken
    assert found.shell == 5


@pytest.mark.parametrize("attacker", ATTACKERS)
def test_a_block_of_another_shed_is_found(sealed: Sealed, folder: Path, attacker: str):
    """A block's readings stand with another block's number, with the digest carried over too."""

    def moved(files: dict[str, bytes]) -> dict[str, bytes]:
        rows = [row for row in lines(files["readings.csv"]) if not row.startswith(b"3,")]
        borrowed = [b"3," + row.split(b",", 1)[1] for row in rows if row.startswith(b"4,")]
        at = next(n for n, row in enumerate(rows) if row.startswith(b"4,"))
        blocks = lines(files["blocks.csv"])
        third, fourth = blocks[3].split(b","), blocks[4].split(b",")
        third[2:4] = fourth[2:4]
        blocks[3] = b",".join(third)
        return {"readings.csv": b"".join(rows[:at] + borrowed + rows[at:]), "blocks.csv": b"".join(blocks)}

    found = answers(attacked(sealed, moved, attacker), folder)
    assert found.broken
    assert found.shell == 5
