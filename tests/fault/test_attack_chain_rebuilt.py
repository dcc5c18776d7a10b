"""Attack: the holder of the key rewrites the logbook from its first row and seals it anew."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from msgspec.structs import replace

from curewatch.errors import RecordBroken
from curewatch.logbook import Entry, Logbook, sealing
from curewatch.logbook.keys import key_path
from curewatch.logbook.sealing import prove
from curewatch.record import verification
from curewatch.record.examination import verify
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import Sealed, own_copy, shell_check


def warmer(patch: pytest.MonkeyPatch) -> dict[str, float]:
    """The same hours in a shed three kelvin warmer."""
    genuine = world.shed_air

    def air(at: float, sensor: str) -> tuple[float, float | None]:
        temperature, humidity = genuine(at, sensor)
        return round(temperature + 3, 2), humidity

    patch.setattr(world, "shed_air", air)
    return {}


def another_lot(patch: pytest.MonkeyPatch) -> dict[str, float]:
    """The same readings; the resin came from another lot."""
    genuine = world.work

    def told(opened: float = world.OPENED, job: str = world.JOB) -> list[Entry]:
        return [
            replace(one, payload={**one.payload, "resin_lot": "R-2301"}) if one.kind == "batch" else one
            for one in genuine(opened, job)
        ]

    patch.setattr(world, "work", told)
    return {}


def a_day_earlier(patch: pytest.MonkeyPatch) -> dict[str, float]:
    """All of it, dated back by a day."""
    return {"opened": world.OPENED - DAY}


def without_its_gap(patch: pytest.MonkeyPatch) -> dict[str, float]:
    """The hour in which a sensor was silent has readings."""
    genuine = world.readings
    patch.setattr(world, "readings", lambda start, end, step, gap: genuine(start, end, step))
    return {}


REWRITTEN = [warmer, another_lot, a_day_earlier, without_its_gap]


def rewritten(sealed: Sealed, place: Path, change: Callable[[pytest.MonkeyPatch], dict[str, float]]) -> Path:
    """A logbook with the same key, as the key's holder would have liked it."""
    path = place / "logbook.sqlite"
    shutil.copy(key_path(sealed.logbook), key_path(path))
    with pytest.MonkeyPatch.context() as patch:
        made = world.fill(path, step=3600.0, **change(patch))
    assert (made.public_key, made.code != sealed.seal.code) == (sealed.seal.public_key, True)
    return path


@pytest.mark.long
@pytest.mark.parametrize("change", REWRITTEN)
@pytest.mark.few(1)
def test_a_rewritten_logbook_is_found_by_the_seal_code(sealed: Sealed, tmp_path: Path, change):
    """It all holds in itself, but has not the code of the card."""
    with Logbook(rewritten(sealed, tmp_path, change)) as logbook:
        assert logbook.verify().head.readings > 0
        with pytest.raises(RecordBroken, match="rewritten"):
            prove(logbook, sealed.seal.code)
        written = write(logbook, world.JOB, tmp_path, at=world.OPENED + 5 * DAY, pdf=change is a_day_earlier)
    assert written.folder is not None
    for record in filter(None, (written.pdf, written.folder)):
        assert verify(record).seal.public_key == sealed.seal.public_key
        with pytest.raises(RecordBroken, match="seal code"):
            verify(record, code=sealed.seal.code)
    assert shell_check(written.folder).returncode == 0
    assert shell_check(written.folder, sealed.seal.code).returncode == 5


@pytest.mark.long
@pytest.mark.parametrize("change", REWRITTEN)
@pytest.mark.few(1)
def test_a_rewritten_logbook_holds_where_any_code_is_taken(
    sealed: Sealed, tmp_path: Path, change, monkeypatch: pytest.MonkeyPatch
):
    """The control: the comparison with the code on the card is the only one that finds it."""
    with Logbook(rewritten(sealed, tmp_path, change)) as logbook:
        written = write(logbook, world.JOB, tmp_path, at=world.OPENED + 5 * DAY, pdf=False)
        monkeypatch.setattr(sealing, "read_code", lambda code: written.seal.code)
        assert prove(logbook, sealed.seal.code) == written.seal
    assert written.folder is not None
    monkeypatch.setattr(verification, "read_code", lambda code: written.seal.code)
    assert verify(written.folder, code=sealed.seal.code).seal == written.seal


def test_the_genuine_logbook_proves_the_code(sealed: Sealed, tmp_path: Path):
    """The same question to the logbook as it was is answered with the seal."""
    with Logbook(own_copy(sealed, tmp_path), read_only=True) as logbook:
        assert prove(logbook, sealed.seal.code) == sealed.seal
