"""Attack: readings of another sensor are slipped in under this one's name."""

from pathlib import Path

import pytest

from tests.fault import test_attack_controls as controls
from tests.record_attacks import ATTACKERS, Change, Sealed, answers, attacked


def two_sensors_exchanged(files: dict[str, bytes]) -> dict[str, bytes]:
    """The probe at the work has the air's readings, and the air the probe's."""
    text = files["readings.csv"]
    for old, new in ((b",hull,", b",?,"), (b",bench,", b",hull,"), (b",?,", b",bench,")):
        text = text.replace(old, new)
    return {"readings.csv": text}


def another_place(files: dict[str, bytes]) -> dict[str, bytes]:
    """The entry of the configuration calls the sensor outside the one at the work."""
    text = files["entries.jsonl"]
    for old, new in ((b'"hull"', b'"?"'), (b'"yard"', b'"hull"'), (b'"?"', b'"yard"')):
        text = text.replace(old, new)
    return {"entries.jsonl": text}


OTHERS = [
    *(controls.of_another_sensor, controls.a_stretch_of_another_sensor, controls.a_block_of_another_one),
    *(two_sensors_exchanged, another_place),
]


@pytest.mark.parametrize("attacker", ATTACKERS)
@pytest.mark.parametrize("change", OTHERS)
@pytest.mark.few(4)
def test_another_sensor_is_found(sealed: Sealed, folder: Path, change: Change, attacker: str):
    """One reading, a stretch, a block, two exchanged, another place told: every value is genuine."""
    found = answers(attacked(sealed, change, attacker), folder)
    assert found.broken
    assert found.shell == 5
