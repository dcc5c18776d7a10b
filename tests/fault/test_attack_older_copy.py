"""Attack: the logbook is an older copy, has its end cut off, or was written anew as a whole.

Each fits together. ``logbook verify`` alone cannot see it and says so; a code from elsewhere shows it.
"""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from curewatch.cli.main import run
from curewatch.logbook import Logbook, keys, sealing
from curewatch.logbook.sealing import Seal, seal
from curewatch.units import DAY
from tests import record_world as world

LATER = world.OPENED + 6 * DAY


def an_older_copy(place: Path) -> tuple[Path, Seal]:
    path = place / "logbook.sqlite"
    world.fill(path, step=3600.0)
    shutil.copy(path, place / "old.sqlite")
    with Logbook(path) as logbook:
        made = seal(logbook, reason="day", at=LATER)
    (place / "old.sqlite").replace(path)
    return path, made


def written_anew(place: Path) -> tuple[Path, Seal]:
    path = place / "logbook.sqlite"
    made = world.fill(path, step=3600.0)
    path.unlink()
    (place / "logbook.sqlite.sealed").unlink()
    world.fill(path, step=1800.0)
    return path, made


def the_end_cut_off(place: Path) -> tuple[Path, Seal]:
    path = place / "logbook.sqlite"
    world.fill(path, step=3600.0)
    key = keys.key_path(path).read_bytes()
    with Logbook(path) as logbook:
        made = seal(logbook, reason="day", at=LATER)
    path.unlink()
    (place / "logbook.sqlite.sealed").unlink()
    world.fill(path, days=3.6, step=3600.0)
    assert keys.key_path(path).read_bytes() == key
    return path, made


ATTACKS: list[Callable[[Path], tuple[Path, Seal]]] = [an_older_copy, written_anew, the_end_cut_off]


def _asked(path: Path, *more: str) -> int:
    """The status of `logbook verify`."""
    config = path.with_name("c.toml")
    config.write_text(f'[logbook]\npath = "{path}"\n')
    with pytest.raises(SystemExit) as left:
        run(["logbook", "verify", "--config", str(config), *more])
    return int(left.value.code or 0)


@pytest.mark.long
@pytest.mark.parametrize("attack", ATTACKS)
@pytest.mark.few(2)
def test_only_a_code_from_elsewhere_shows_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], attack: Callable[[Path], tuple[Path, Seal]]
):
    """Without a code it holds, and names what that does not show. With the code it does not."""
    path, made = attack(tmp_path)
    assert _asked(path) == 0
    said = capsys.readouterr().out
    assert "ot shown without --code" in said
    for each in ("end", "cut off", "older copy", "anew"):
        assert each in " ".join(said.split())
    assert _asked(path, "--code", made.code) == 5
    assert made.code in capsys.readouterr().err


@pytest.mark.parametrize("attack", ATTACKS)
@pytest.mark.few(1)
def test_a_code_that_is_not_looked_for_shows_nothing(
    tmp_path: Path, attack: Callable[[Path], tuple[Path, Seal]], monkeypatch: pytest.MonkeyPatch
):
    """The control: any seal of the logbook is taken for the one with the code."""
    path, made = attack(tmp_path)
    monkeypatch.setattr(sealing, "found", lambda checked, written: list(checked)[-1])
    assert _asked(path, "--code", made.code) == 0
