"""The daily list of a fleet's heads: any chain that was rewritten is found, and each shed gets the code."""

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from curewatch.cli.commands.fleet import app
from curewatch.clock import Instant
from curewatch.errors import RecordBroken
from curewatch.fleet.copying import CopyIntake
from curewatch.fleet.sending import ASK_EVERY, Sending
from curewatch.logbook import Logbook
from curewatch.logbook.keys import known_key
from curewatch.logbook.sealing import seal
from curewatch.readings import Reading
from tests.stamping_authority import StampingAuthority, serving

NOW = 1_795_640_400.0


def grow(path: Path, warmth: float = 290.0) -> None:
    with Logbook(path) as logbook:
        logbook.append([Reading("bench", NOW, NOW, warmth, 0.6)])
        seal(logbook, reason="day", at=NOW)
        logbook.close_block()
        logbook.append([Reading("bench", NOW + 60, NOW + 60, warmth, 0.6)])


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    """Its file: a shed whose readings come to it, and one with its own daemon."""
    grow(tmp_path / "hull.sqlite")
    grow(tmp_path / "home.sqlite", 291.0)
    with Logbook(tmp_path / "home.sqlite") as logbook:
        key = known_key(logbook)
    for name in ("hull", "yard"):
        (tmp_path / f"{name}.toml").write_text(f'[logbook]\npath = "{tmp_path}/{name}.sqlite"\n')
    (tmp_path / "fleet.toml").write_text(
        "[broker]\nhosts = ['none']\n[sheds]\nhull = 'hull.toml'\n"
        f"[copies.yard]\nfile = 'yard.toml'\nkey = '{key}'\n"
    )
    exchange(tmp_path)
    return tmp_path / "fleet.toml"


def exchange(folder: Path, monotonic: float = 0.0) -> None:
    """The shed with its own daemon sends what it has, and hears the answers."""
    with Logbook(folder / "home.sqlite") as home, Logbook(folder / "yard.sqlite") as copy:
        intake = CopyIntake("yard", known_key(home), lambda: copy)
        sending = Sending("yard", home)
        for turn in range(12):
            now = Instant(NOW + monotonic + 5 * turn, ASK_EVERY + monotonic + 5 * turn)
            sent = sending.due(now)
            if sent is not None:
                sending.answered(intake.answer(sent, now.utc), now)


def ran(*words: str | Path) -> Result:
    return CliRunner().invoke(app, ["heads", *map(str, words)], catch_exceptions=False)


def codes(path: Path) -> list[str]:
    with Logbook(path) as logbook:
        return [one.payload["code"] for one in logbook.entries("daemon") if one.payload["what"] == "listed"]


def test_each_shed_gets_the_code_once_and_the_copy_gets_no_line(fleet: Path, tmp_path: Path) -> None:
    """Killed in between and done again it is the same list."""
    with Logbook(tmp_path / "yard.sqlite") as copy:
        before = copy.faces()
    told = [ran(fleet, "--output", tmp_path / "heads.json") for _ in range(2)]
    assert [one.exit_code for one in told] == [0, 0]
    assert "2 sheds listed" in told[0].output
    for start in (100.0, 200.0):
        exchange(tmp_path, start)
    given = codes(tmp_path / "hull.sqlite")
    assert len(given) == 1
    assert given == codes(tmp_path / "home.sqlite")
    assert given[0] in told[0].output
    with Logbook(tmp_path / "yard.sqlite") as copy:
        assert copy.faces()[: len(before)] == before
        assert copy.verify()
    assert "every chain holds" in ran(fleet, "--check", tmp_path / "heads.json").output


@pytest.mark.parametrize("name", ["hull", "yard"])
def test_a_chain_that_was_made_anew_is_found_by_name(fleet: Path, tmp_path: Path, name: str) -> None:
    """With its own key; and a shed that is gone, and a list signed by somebody else. Unchanged it holds."""
    ran(fleet, "--output", tmp_path / "heads.json")
    assert ran(fleet, "--check", tmp_path / "heads.json").exit_code == 0
    for file in tmp_path.glob(f"{name}.sqlite*"):
        if file.suffix != ".key":
            file.unlink()
    if name == "hull":
        grow(tmp_path / "hull.sqlite", 295.0)
    with pytest.raises(RecordBroken, match=f"shed {name}"):
        ran(fleet, "--check", tmp_path / "heads.json")


def test_a_list_signed_with_another_key_is_refused(fleet: Path, tmp_path: Path) -> None:
    ran(fleet, "--output", tmp_path / "heads.json")
    shutil.copy(tmp_path / "hull.sqlite.key", tmp_path / "fleet.toml.key")
    with pytest.raises(RecordBroken, match="the operator's key"):
        ran(fleet, "--check", tmp_path / "heads.json")


def test_a_copy_without_a_seal_is_left_out_and_said(fleet: Path, tmp_path: Path) -> None:
    (tmp_path / "yard.sqlite").unlink()
    told = ran(fleet, "--output", tmp_path / "heads.json")
    assert "1 shed listed" in told.output
    assert "yard: no sealed block" in told.output + told.stderr


@pytest.mark.long
def test_the_list_is_dated_by_an_authority(fleet: Path, tmp_path: Path) -> None:
    """As the seals are."""
    authority = StampingAuthority(tmp_path / "harbour")
    with serving(authority.answer) as address:
        with fleet.open("a") as file:
            file.write(f"[heads]\nstamp_authority = '{address}'\nstamp_roots_file = '{authority.roots}'\n")
        assert "Dated by nobody" not in ran(fleet, "--output", tmp_path / "heads.json").output
    assert (
        "every chain holds"
        in ran(fleet, "--check", tmp_path / "heads.json", "--roots", authority.roots).output
    )
