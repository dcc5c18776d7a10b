"""Attack: the holder of the key rewrites the logbook from its first row and seals it anew."""

import shutil
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import Logbook
from curewatch.logbook.sealing import key_path, prove
from curewatch.record.examination import verify
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import Sealed, shell_check


def test_a_rewritten_logbook_is_found_by_the_seal_code(sealed: Sealed, tmp_path: Path):
    """Same key and times, a warmer shed: it all holds in itself, but has not the code of the card."""
    path = tmp_path / "logbook.sqlite"
    shutil.copy(key_path(sealed.logbook), key_path(path))
    genuine = world.shed_air

    def warmer(at: float, sensor: str) -> tuple[float, float | None]:
        temperature, humidity = genuine(at, sensor)
        return round(temperature + 3, 2), humidity

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(world, "shed_air", warmer)
        world.fill(path, step=900.0)
    with Logbook(path) as logbook:
        assert logbook.verify().head.readings > 0
        with pytest.raises(RecordBroken, match="rewritten"):
            prove(logbook, sealed.seal.code)
        written = write(logbook, world.JOB, tmp_path, at=world.OPENED + 5 * DAY)
    assert written.pdf is not None
    assert written.folder is not None
    assert verify(written.pdf).seal.public_key == sealed.seal.public_key
    for record in (written.pdf, written.folder):
        with pytest.raises(RecordBroken, match="seal code"):
            verify(record, code=sealed.seal.code)
    assert shell_check(written.folder).returncode == 0
    assert shell_check(written.folder, sealed.seal.code).returncode == 5


def test_the_genuine_logbook_proves_the_code(sealed: Sealed):
    """The same question to the logbook as it was is answered with the seal."""
    with Logbook(sealed.logbook, read_only=True) as logbook:
        assert prove(logbook, sealed.seal.code) == sealed.seal
