"""`curewatch logbook` and `curewatch record` from the shell: what they print, and their exit status."""

import json
from pathlib import Path

import pytest

from curewatch.cli.main import run
from tests import record_world as world


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    world.fill(tmp_path / "logbook.sqlite", step=1800.0)
    config = tmp_path / "curewatch.toml"
    config.write_text(f'[logbook]\npath = "{tmp_path / "logbook.sqlite"}"\n[shed]\nzone = "Europe/Lisbon"\n')
    monkeypatch.setenv("CUREWATCH_CONFIG", str(config))
    return tmp_path


def status(arguments: list[str]) -> int:
    with pytest.raises(SystemExit) as left:
        run(arguments)
    return int(left.value.code or 0)


@pytest.mark.long
def test_a_record_is_written_and_verified(place: Path, capsys: pytest.CaptureFixture[str]):
    """The way of a user: write, verify, verify with the code of the card, verify after a change."""
    assert status(["record", "write", world.JOB, "--output", str(place / "out"), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert status(["record", "verify", said["pdf"], "--code", said["seal_code"]]) == 0
    assert "holds" in capsys.readouterr().out
    assert status(["record", "verify", said["folder"], "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["holds"] is True
    readings = Path(said["folder"]) / "readings.csv"
    readings.write_bytes(readings.read_bytes().replace(b",16.", b",19.", 1))
    assert status(["record", "verify", said["folder"]]) == 5
    assert "readings.csv: expected" in capsys.readouterr().err
    assert status(["record", "verify", said["folder"], "--json"]) == 5
    assert json.loads(capsys.readouterr().out)["entry"] == "readings.csv"


@pytest.mark.long
def test_a_record_does_not_replace_a_file(place: Path, capsys: pytest.CaptureFixture[str]):
    """Written twice into one place, or of a job that is not there: said, and nothing changed."""
    assert status(["record", "write", world.JOB, "--output", str(place), "--format", "pdf"]) == 0
    before = (place / f"record-{world.JOB}.pdf").read_bytes()
    assert status(["record", "write", world.JOB, "--output", str(place)]) == 2
    assert status(["record", "write", "../../etc/passwd", "--output", str(place)]) == 2
    assert status(["record", "verify", str(place / "none.pdf")]) == 2
    assert (place / f"record-{world.JOB}.pdf").read_bytes() == before
    assert not (place / f"record-{world.JOB}").exists()


def test_the_logbook_commands_answer(place: Path, capsys: pytest.CaptureFixture[str]):
    """Status, verify, seal and prove, backup, export, rehearsal of pruning."""
    assert status(["logbook", "status", "--json"]) == 0
    rejected = json.loads(capsys.readouterr().out)["rejected"]
    assert {each["reason"]: each["times"] > 0 for each in rejected}["not a number"]
    assert status(["logbook", "seal", "--json"]) == 0
    code = json.loads(capsys.readouterr().out)["code"]
    assert status(["logbook", "verify", "--code", code, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["proved"]["code"] == code
    assert status(["logbook", "verify", "--code", code]) == 0
    assert "Not shown without" not in capsys.readouterr().out
    assert status(["logbook", "verify"]) == 0
    alone = " ".join(capsys.readouterr().out.split())
    assert "every reading and entry is as it was" not in alone
    for unseen in ("an end cut off", "an older copy", "written anew"):
        assert unseen in alone
    assert status(["logbook", "backup", str(place / "copy.sqlite")]) == 0
    assert (
        status(["logbook", "export", str(place / "out.csv"), "--sensor", "hull", "--until", "2026-11-25"])
        == 0
    )
    assert (place / "out.csv").read_text().count("\n") > 10
    assert status(["logbook", "prune", "--older-than", "30", "--dry-run"]) == 0
    assert status(["logbook", "prune"]) == 2
    assert status(["logbook", "verify", "--code", "-".join(["AAAA"] * 7)]) == 2
    assert status(["logbook", "export", str(place / "x.csv"), "--since", "yesterday"]) == 2


def test_without_a_logbook_every_command_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """No logbook: a message and a failure, and none is made by asking."""
    config = tmp_path / "curewatch.toml"
    config.write_text(f'[logbook]\npath = "{tmp_path / "none.sqlite"}"\n')
    monkeypatch.setenv("CUREWATCH_CONFIG", str(config))
    for arguments in (
        ["logbook", "status"],
        ["logbook", "verify"],
        ["logbook", "seal"],
        ["record", "write", "x"],
    ):
        assert status(arguments) in {1, 2}
    assert not (tmp_path / "none.sqlite").exists()


@pytest.mark.long
def test_the_key_is_shown_copied_and_changed(place: Path, capsys: pytest.CaptureFixture[str]):
    """By its fingerprint; the record is checked against it; lost and found again without a new one."""
    (place / "stick").mkdir()
    copy = str(place / "stick" / "key")
    assert status(["logbook", "key", "--backup", copy, "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert (shown["present"], shown["copied_to"], shown["changes"]) == (True, copy, [])
    (place / "logbook.sqlite.key").unlink()
    assert status(["logbook", "key"]) == 0
    assert "--restore FILE" in capsys.readouterr().out
    assert status(["record", "write", world.JOB, "--output", str(place / "out")]) == 1
    assert "--lost" in capsys.readouterr().err
    assert status(["logbook", "key", "--restore", copy]) == 0
    assert status(["logbook", "key", "--new", "--lost"]) == 2
    assert status(["logbook", "key", "--new", "--json"]) == 0
    capsys.readouterr()
    assert status(["record", "write", world.JOB, "--output", str(place / "out"), "--json"]) == 0
    pdf = json.loads(capsys.readouterr().out)["pdf"]
    assert status(["record", "verify", pdf, "--key", shown["fingerprint"]]) == 5
    assert status(["record", "verify", pdf]) == 0
    assert "signed by both" in capsys.readouterr().out
    assert status(["logbook", "verify"]) == 0
    assert "key changed" in capsys.readouterr().out


@pytest.mark.long
def test_one_file_carries_all(place: Path, capsys: pytest.CaptureFixture[str]):
    """The PDF under the name that was given, and nothing beside it."""
    assert status(["record", "write", world.JOB, "--output", str(place / "out" / "cheek.pdf"), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["pdf"], said["folder"]) == (str(place / "out" / "cheek.pdf"), None)
    assert [path.name for path in (place / "out").iterdir()] == ["cheek.pdf"]
    assert status(["record", "show", said["pdf"]]) == 0
    assert capsys.readouterr().out.startswith("holds")
    assert status(["record", "write", world.JOB, "--output", said["pdf"]]) == 2
