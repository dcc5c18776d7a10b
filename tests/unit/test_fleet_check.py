"""``curewatch fleet check`` names each setting that can lose what was acknowledged."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from curewatch.cli.commands.fleet import app
from curewatch.fleet.checking import SESSIONS, STORE, doubts_of_brokers, doubts_of_sessions, doubts_of_store
from tests.database import DatabaseServer

SOUND = {
    "fsync": "on",
    "full_page_writes": "on",
    "synchronous_commit": "on",
    "synchronous_standby_names": "FIRST 1 (two)",
}


@pytest.mark.parametrize("name", STORE)
@pytest.mark.parametrize("value", ["off", "local", ""])
def test_each_setting_that_is_not_sound_is_named(name: str, value: str) -> None:
    """Alone; a name of a standby is any word."""
    assert doubts_of_store("here", SOUND) == []
    found = doubts_of_store("here", SOUND | {name: value})
    named = name == "synchronous_standby_names" and value
    assert [one.found.split(" = ")[0] for one in found] == ([] if named else [name])


@pytest.mark.parametrize(("sheds", "needed"), [(1, 14), (50, 210), (120, 350)])
def test_a_server_with_too_few_sessions_is_named(sheds: int, needed: int) -> None:
    """Two workers have one for each shed, two lookers for fifty; ten are left to others."""
    assert doubts_of_sessions("here", {SESSIONS: str(needed)}, sheds) == []
    (found,) = doubts_of_sessions("here", {SESSIONS: str(needed - 1)}, sheds)
    assert found.found == f"max_connections = {needed - 1} for {sheds} sheds"
    assert found.use == f"max_connections = {needed}"


@pytest.mark.long
def test_a_server_that_waits_for_no_disk_is_found_out(server: DatabaseServer, tmp_path: Path) -> None:
    """The tests' own server is one; a database is asked once, a logbook in a file is named."""
    place = server.address(tmp_path / "hull.address", "hull")
    (tmp_path / "hull.toml").write_text(f'[logbook]\npath = "{place}"\n')
    (tmp_path / "yard.toml").write_text(f'[logbook]\npath = "{tmp_path}/yard.sqlite"\n')
    plan = tmp_path / "fleet.toml"
    plan.write_text('[broker]\nhosts = ["a", "b", "c"]\n[sheds]\nhull = "hull.toml"\nyard = "yard.toml"\n')
    told = CliRunner().invoke(app, ["check", str(plan)])
    assert told.exit_code == 1
    for part in (
        "the store of hull: found fsync = off: a crash of its machine takes readings",
        "found full_page_writes = off",
        "found synchronous_standby_names = nothing: a primary that dies takes the readings",
        "yard: found a logbook in a file",
    ):
        assert part in told.output
    assert told.output.count("fsync") == 2  # found, and what to use
    assert "brokers" not in told.output
    assert [one.found for one in doubts_of_brokers(1)] == ["1 host"]
