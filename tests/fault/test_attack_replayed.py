"""Attack: something that was recorded once is delivered, or shown, again."""

from pathlib import Path

import pytest

from curewatch.logbook import Logbook, entry
from tests import record_world as world
from tests.fault import test_attack_controls as controls
from tests.record_attacks import ATTACKERS, Change, Sealed, answers, attacked, lines


def at_the_end(files: dict[str, bytes]) -> dict[str, bytes]:
    """A whole block's readings stand a second time, apart from the first."""
    rows = lines(files["readings.csv"])
    return {"readings.csv": b"".join([*rows, *(row for row in rows if row.startswith(b"2,"))])}


def an_older_seal(files: dict[str, bytes]) -> dict[str, bytes]:
    """The seal of the job's closing, which is genuine, in the place of the record's."""
    line = next(line for line in lines(files["entries.jsonl"]) if b'"kind":"seal"' in line)
    seal = entry.stored(line.decode()).payload
    return {"seal.txt": str(seal["text"]).encode(), "seal.sig": bytes.fromhex(str(seal["signature"]))}


AGAIN = [controls.a_stretch_again, controls.an_entry_twice, at_the_end, an_older_seal]


@pytest.mark.parametrize("attacker", ATTACKERS)
@pytest.mark.parametrize("change", AGAIN)
@pytest.mark.few(4)
def test_what_is_shown_again_is_found(sealed: Sealed, folder: Path, change: Change, attacker: str):
    """A good stretch, an entry, a block, a seal."""
    found = answers(attacked(sealed, change, attacker), folder)
    assert found.broken
    assert found.shell == 5


@pytest.mark.parametrize("later", [0.0, 7200.0, 86400.0])
@pytest.mark.few(1)
def test_readings_delivered_again_change_nothing(tmp_path: Path, later: float):
    """A captured stretch sent to the logbook a second time is not stored a second time."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        stretch = list(world.readings(world.OPENED, world.OPENED + 86400.0))
        logbook.append(stretch)
        head = logbook.head()
        assert logbook.append([one._replace(received=one.received + later) for one in stretch]) == 0
        assert logbook.head() == head
