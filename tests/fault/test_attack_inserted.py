"""Attack: something is put in that was never appended."""

from hashlib import sha256
from pathlib import Path

import pytest

from tests.fault import test_attack_controls as controls
from tests.record_attacks import ATTACKERS, Change, Sealed, answers, attacked, lines


def a_block_of_its_own(files: dict[str, bytes]) -> dict[str, bytes]:
    """A block after the last, with the digest of its one reading, after the right head."""
    last, reading = lines(files["blocks.csv"])[-1].split(b","), lines(files["readings.csv"])[-1]
    number = b"%d" % (int(last[0]) + 1)
    reading = number + b"," + reading.split(b",", 1)[1]
    digest = sha256(reading).hexdigest().encode()
    row = [number, last[6], b"1", digest, b"0", sha256().hexdigest().encode(), b"0" * 64, b"here", last[8]]
    return {
        "blocks.csv": files["blocks.csv"] + b",".join(row),
        "readings.csv": files["readings.csv"] + reading,
    }


def an_entry_of_its_own(files: dict[str, bytes]) -> dict[str, bytes]:
    """A check that was never made, listed with its digest."""
    row = lines(files["entries.jsonl"])[-1].replace(b'"number":', b'"number":9', 1)
    block, number, kind, owner, _ = lines(files["digests.csv"])[-1].split(b",")
    listed = [block, b"9" + number, kind, owner, sha256(row.rstrip(b"\n")).hexdigest().encode() + b"\n"]
    return {
        "entries.jsonl": files["entries.jsonl"] + row,
        "digests.csv": files["digests.csv"] + b",".join(listed),
    }


INSERTED = [controls.in_the_gap, controls.invented, an_entry_of_its_own, a_block_of_its_own]


@pytest.mark.parametrize("attacker", ATTACKERS)
@pytest.mark.parametrize("change", INSERTED)
@pytest.mark.few(4)
def test_what_is_put_in_is_found(sealed: Sealed, folder: Path, change: Change, attacker: str):
    """A reading in the gap of the night, an entry with and without its digest, a block."""
    found = answers(attacked(sealed, change, attacker), folder)
    assert found.broken
    assert found.shell == 5
