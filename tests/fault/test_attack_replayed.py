"""Attack: something that was recorded once is delivered, or shown, again."""

from pathlib import Path

import pytest

from curewatch.logbook import Logbook
from tests import record_world as world
from tests.record_attacks import ATTACKERS, Sealed, answers, attacked, lines


@pytest.mark.parametrize("attacker", ATTACKERS)
def test_readings_shown_twice_are_found(sealed: Sealed, folder: Path, attacker: str):
    """A good stretch is repeated in the file: its block no longer has its digest."""

    def again(files: dict[str, bytes]) -> dict[str, bytes]:
        rows = lines(files["readings.csv"])
        return {"readings.csv": b"".join([*rows[:60], *rows[30:60], *rows[60:]])}

    found = answers(attacked(sealed, again, attacker), folder)
    assert found.broken
    assert found.shell == 5


@pytest.mark.parametrize("attacker", ATTACKERS)
def test_a_stretch_shown_again_at_the_end_is_found(sealed: Sealed, folder: Path, attacker: str):
    """A whole block's readings stand a second time, apart from the first."""

    def again(files: dict[str, bytes]) -> dict[str, bytes]:
        rows = lines(files["readings.csv"])
        return {"readings.csv": b"".join([*rows, *(row for row in rows if row.startswith(b"2,"))])}

    found = answers(attacked(sealed, again, attacker), folder)
    assert found.broken
    assert found.shell == 5


def test_readings_delivered_again_change_nothing(tmp_path: Path):
    """A captured stretch sent to the logbook a second time is not stored a second time."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        stretch = list(world.readings(world.OPENED, world.OPENED + 86400.0))
        logbook.append(stretch)
        head = logbook.head()
        assert logbook.append([one._replace(received=one.received + 7200) for one in stretch]) == 0
        assert logbook.head() == head
