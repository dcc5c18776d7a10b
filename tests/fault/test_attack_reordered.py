"""Attack: lines are put in another order."""

from pathlib import Path

import pytest

from tests.record_attacks import ATTACKERS, Sealed, answers, attacked, lines


@pytest.mark.parametrize("attacker", ATTACKERS)
@pytest.mark.parametrize("name", ["readings.csv", "entries.jsonl", "digests.csv", "blocks.csv"])
@pytest.mark.few(4)
def test_lines_in_another_order_are_found(sealed: Sealed, folder: Path, attacker: str, name: str):
    """Two neighbouring lines change places; nothing else is touched."""

    def swapped(files: dict[str, bytes]) -> dict[str, bytes]:
        rows = lines(files[name])
        rows[5], rows[6] = rows[6], rows[5]
        return {name: b"".join(rows)}

    found = answers(attacked(sealed, swapped, attacker), folder)
    assert found.broken
    if (
        name != "entries.jsonl" or attacker != ATTACKERS[2]
    ):  # order in that file alone proves nothing: the digests do
        assert found.shell == 5
