"""Attack: the end is cut off."""

from pathlib import Path

import pytest

from tests.record_attacks import ATTACKERS, Sealed, answers, attacked, lines


@pytest.mark.parametrize("attacker", ATTACKERS)
def test_missing_readings_are_found(sealed: Sealed, folder: Path, attacker: str):
    """The last readings are not there."""

    def cut(files: dict[str, bytes]) -> dict[str, bytes]:
        return {"readings.csv": b"".join(lines(files["readings.csv"])[:-3])}

    found = answers(attacked(sealed, cut, attacker), folder)
    assert "readings" in found.broken or "files.sha256" in found.broken
    assert found.shell == 5


@pytest.mark.long
@pytest.mark.parametrize("attacker", ATTACKERS)
def test_a_chain_that_ends_earlier_than_its_seal_is_found(sealed: Sealed, folder: Path, attacker: str):
    """The last block is cut off with everything in it: the seal names a block that is not there."""

    def shorter(files: dict[str, bytes]) -> dict[str, bytes]:
        rows = lines(files["blocks.csv"])
        last = rows[-1].split(b",")[0] + b","
        return {
            "blocks.csv": b"".join(rows[:-1]),
            "readings.csv": b"".join(row for row in lines(files["readings.csv"]) if not row.startswith(last)),
            "digests.csv": b"".join(row for row in lines(files["digests.csv"]) if not row.startswith(last)),
            "entries.jsonl": b"".join(
                row for row in lines(files["entries.jsonl"]) if b'"block":' + last not in row
            ),
        }

    found = answers(attacked(sealed, shorter, attacker), folder)
    assert found.broken
    assert found.shell == 5
    if attacker == ATTACKERS[2]:
        assert found.broken.startswith("seal.txt")


@pytest.mark.parametrize("attacker", ATTACKERS)
def test_a_missing_list_of_entries_is_found(sealed: Sealed, folder: Path, attacker: str):
    """An entry and its digest are both taken away."""

    def without(files: dict[str, bytes]) -> dict[str, bytes]:
        return {
            "entries.jsonl": b"".join(lines(files["entries.jsonl"])[:-1]),
            "digests.csv": b"".join(lines(files["digests.csv"])[:-1]),
        }

    found = answers(attacked(sealed, without, attacker), folder)
    assert found.broken
    assert found.shell == 5
