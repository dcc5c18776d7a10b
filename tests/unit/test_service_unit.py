"""The unit of systemd agrees with the program it starts."""

import configparser
import shlex
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

from curewatch.cli.commands import service
from curewatch.cli.commands.service import unit
from curewatch.cli.main import COMMANDS, run
from curewatch.errors import ExitStatus
from tests.record_attacks import need


class Lines(dict):
    """Keeps every value of a key that stands several times, as systemd reads them."""

    def __setitem__(self, key: str, value: object) -> None:
        if isinstance(value, list) and key in self:
            value = [*self[key], *value]
        super().__setitem__(key, value)


def parsed(text: str) -> configparser.RawConfigParser:
    parser = configparser.RawConfigParser(strict=False, dict_type=Lines)
    parser.optionxform = str
    parser.read_string(text)
    return parser


def test_the_unit_starts_a_command_there_is() -> None:
    """The first word after the program stands in the table, and the program is where it was put."""
    service = parsed(unit(Path("/opt/shed/bin/curewatch")))["Service"]
    program, command, *options = shlex.split(service["ExecStart"])
    assert program == "/opt/shed/bin/curewatch"
    assert command in COMMANDS
    assert options[0] == "--config"


def test_what_a_restart_cannot_mend_is_not_restarted() -> None:
    """Statuses for a wrong command and a wrong configuration stop the unit for good."""
    service = parsed(files("curewatch.cli").joinpath("curewatch.service").read_text())["Service"]
    stops = {int(word) for word in service["RestartPreventExitStatus"].split()}
    assert stops == {ExitStatus.USAGE, ExitStatus.CONFIGURATION}


def test_the_unit_is_fenced_in() -> None:
    """Own user, read-only system, private temporary folder, serial devices only, a watchdog."""
    service = parsed(unit(Path("/usr/bin/curewatch")))["Service"]
    fenced = {
        "ProtectSystem": "strict",
        "PrivateTmp": "yes",
        "NoNewPrivileges": "yes",
        "User": "curewatch",
        "DevicePolicy": "closed",
        "CapabilityBoundingSet": "",
    }
    assert {key: service[key] for key in fenced} == fenced
    assert all(device.startswith("char-tty") for device in service["DeviceAllow"].replace(" rw", "").split())
    assert int(service["WatchdogSec"]) > 0


def test_the_command_prints_it(capsys: pytest.CaptureFixture[str]) -> None:
    """And nothing else, so that it can be sent into a file."""
    with pytest.raises(SystemExit) as stop:
        run(["service"])
    assert stop.value.code == ExitStatus.OK
    assert parsed(capsys.readouterr().out)["Install"]["WantedBy"] == "multi-user.target"


@pytest.mark.parametrize(
    ("program", "warned"), [("/home/owner/bin/curewatch", True), ("/opt/x/curewatch", False)]
)
def test_a_program_that_the_unit_may_not_see_is_told(
    program: str, warned: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """ProtectHome hides every home: a service would not start from there. The unit itself stays whole."""
    monkeypatch.setattr(service, "_program", lambda: Path(program))
    service.app()
    shown = capsys.readouterr()
    assert f"ExecStart={program} ingest" in shown.out
    assert ("ProtectHome" in shown.err) is warned


def test_the_service_manager_itself_accepts_the_unit(tmp_path: Path) -> None:
    """`systemd-analyze verify` finds no unknown key, section or value."""
    need("systemd-analyze")
    file = tmp_path / "curewatch.service"
    file.write_text(unit(Path(sys.executable)).replace("Documentation=man:curewatch(1)\n", ""))
    done = subprocess.run(
        ["systemd-analyze", "verify", str(file)], capture_output=True, text=True, check=False
    )
    assert "curewatch.service" not in done.stdout + done.stderr
    assert done.returncode == 0


def test_the_fence_is_as_high_as_is_written(tmp_path: Path) -> None:
    """The manager's own measure of exposure: at most 2.0 of 10, as the developers' page says."""
    need("systemd-analyze")
    file = tmp_path / "curewatch.service"
    file.write_text(unit(Path(sys.executable)))
    command = ["systemd-analyze", "security", "--offline=true", "--threshold=20", "--no-pager", str(file)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-400:] + done.stderr
    assert "Overall exposure level" in done.stdout
