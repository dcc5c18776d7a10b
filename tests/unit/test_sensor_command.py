"""``curewatch sensor``: the list with health, and the check step by step, asked or by options."""

import json
import os
import sys
from pathlib import Path

import pexpect
import pytest

from curewatch.cli.main import run
from curewatch.cli.options import settings
from curewatch.cli.sensor_desk import CheckSession, NotSettled
from curewatch.clock import ManualClock, SystemClock
from curewatch.errors import ExitStatus
from curewatch.logbook import Entry, Logbook
from curewatch.readings import Reading
from curewatch.wire import lines
from tests.broker import PATIENCE


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A configuration of the demo world with its logbook beside it."""
    file = tmp_path / "curewatch.toml"
    file.write_text(
        '[sensors.bench]\nrole = "air"\npart = "humidity-2"\n'
        '[sensors.hull]\nrole = "surface"\npart = "probe"\n'
        '[logbook]\npath = "logbook.sqlite"\n'
    )
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    monkeypatch.setenv("CUREWATCH_UNITS", "C,g,24h")
    return tmp_path / "logbook.sqlite"


def called(*arguments: str) -> int:
    with pytest.raises(SystemExit) as stop:
        run(["sensor", *arguments])
    return int(stop.value.code or 0)


def jar(folder: Path, humidity: float, name: str = "jar.txt") -> Path:
    """A recording of an hour in a jar: the way there, then rest."""
    begin = SystemClock().now().utc - 7200
    told = [
        lines.encode("bench", 18.0, humidity - max(0, 20 - index), sequence=index, at=begin + 60 * index)
        for index in range(60)
    ]
    (folder / name).write_bytes(b"\n".join(told) + b"\n")
    return folder / name


def check(recording: Path, salt: str, *more: str) -> int:
    return called(
        "check", "bench", "--salt", salt, "--salt-wet", "25 h", "--recording", str(recording), *more
    )


def test_two_salts_make_a_correction_that_the_list_shows(
    shed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The first salt corrects nothing, the second completes the line, and a year later it is due again."""
    assert check(jar(tmp_path, 78.5), "NaCl") == ExitStatus.OK
    assert "One more salt" in capsys.readouterr().out
    assert check(jar(tmp_path, 34.3), "mgcl2") == ExitStatus.OK
    assert "From now on humidity of bench is corrected" in capsys.readouterr().out
    with Logbook(shed, read_only=True) as logbook:
        told = logbook.entries("sensor-check")[-1].payload
    assert [point["salt"] for point in told["points"]] == ["MgCl2", "NaCl"]
    assert told["correction"]["gain"] == pytest.approx(0.957, abs=0.005)
    assert called("list") == ExitStatus.OK
    listed = capsys.readouterr().out
    assert "corrected by -2.8 % at 75 %" in " ".join(listed.split())
    assert all(len(line) <= 80 for line in listed.splitlines())


def test_the_same_as_json_and_dropped_it_changes_nothing(
    shed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A script reads expected value, uncertainty and outcome; --drop leaves the logbook as it was."""
    assert check(jar(tmp_path, 78.5), "NaCl", "--json", "--drop") == ExitStatus.OK
    answer = json.loads(capsys.readouterr().out)
    assert answer["point"]["expected_percent"] == pytest.approx(75.54, abs=0.05)
    assert answer["point"]["found_percent"] == pytest.approx(78.5, abs=0.01)
    assert answer["outcome"] == "second-salt"
    assert answer["entry"] is None
    with Logbook(shed, read_only=True) as logbook:
        assert logbook.entries("sensor-check") == []


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (("--salt", "LiCl", "--salt-wet", "25 h"), ExitStatus.USAGE, "18 degC"),
        (("--salt", "NaCl", "--salt-wet", "2 h"), ExitStatus.USAGE, "come back in 22 h"),
        (("--salt", "NaCl"), ExitStatus.USAGE, "missing: --salt and --salt-wet"),
        (("--salt", "NaCl", "--salt-wet", "25 h", "--wait", "0"), ExitStatus.FAILURE, "not at rest"),
        (("--wait", "1000"), ExitStatus.USAGE, "Use 0 to 240"),
    ],
)
def test_what_is_missing_is_said(
    shed: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], status: int, said: str
) -> None:
    """A salt that is not ready, one that must not be used, and a reading that is not there."""
    assert called("check", "bench", *arguments) == status
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("nobody", "--salt", "NaCl", "--salt-wet", "25 h"), "sensor: found 'nobody'. Use bench, hull"),
        (("bench", "--beside", "nobody"), "sensor: found 'nobody'. Use bench, hull"),
        (("bench", "--beside", "bench"), "--beside: found 'bench', the sensor itself. Use another"),
        (("hull", "--salt", "NaCl", "--salt-wet", "25 h"), "hull is a probe: it has no humidity"),
    ],
)
def test_nobody_waits_for_a_sensor_that_cannot_be_checked(
    shed: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], said: str
) -> None:
    """A name that nobody knows, and a probe without humidity, are said before the first minute."""
    assert called("check", *arguments) == ExitStatus.USAGE
    assert said in " ".join(capsys.readouterr().err.split())


def test_a_chip_too_far_off_fails_the_check(
    shed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Twelve per cent is damage, not drift."""
    assert check(jar(tmp_path, 87.9), "NaCl") == ExitStatus.FAILURE
    assert "replace it" in " ".join(capsys.readouterr().out.split())


def test_a_live_check_reads_the_logbook_and_undoes_an_earlier_correction(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Readings that were already corrected are taken back to what the chip said."""
    now = SystemClock().now().utc
    with Logbook(shed) as logbook:
        told = {"sensor": "bench", "points": [], "correction": {"offset": 0.01, "gain": 0.95}, "due": now}
        logbook.write(Entry("sensor-check", told, now - 86400))
        said = 0.01 + 0.95 * 0.785
        logbook.append(
            Reading("bench", now - 60 * age, now - 60 * age, 291.15, said, flags=64) for age in range(40)
        )
    arguments = ("--salt", "NaCl", "--salt-wet", "25 h", "--probe-in", "40 min", "--wait", "0", "--json")
    assert called("check", "bench", *arguments) == ExitStatus.OK
    assert json.loads(capsys.readouterr().out)["point"]["found_percent"] == pytest.approx(78.5, abs=0.05)


def test_two_sensors_are_compared_side_by_side(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The hull's probe beside the bench's chip, over the last hour; before they have spoken it is said so."""
    assert called("check", "bench", "--beside", "hull") == ExitStatus.FAILURE
    assert "hardly spoken" in capsys.readouterr().err
    now = SystemClock().now().utc
    with Logbook(shed) as logbook:
        for age in range(40):
            at = now - 60 * age
            logbook.append([Reading("bench", at, at, 288.15, 0.7), Reading("hull", at, at, 288.35)])
    assert called("check", "bench", "--beside", "hull") == ExitStatus.OK
    assert "They agree." in capsys.readouterr().out


def test_the_list_shows_health_and_hostile_names_as_text(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A fresh sensor, one that never spoke, one nobody configured; JSON has the same."""
    now = SystemClock().now().utc
    with Logbook(shed) as logbook:
        logbook.append(
            [Reading("bench", now - 5, now - 5, 285.55, 0.81), Reading("x/\x1b[2J", now, now, 280.0)]
        )
    assert called("list") == ExitStatus.OK
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "12.4 °C  81 %" in out
    assert "never reported" in out
    assert called("list", "--json") == ExitStatus.OK
    told = {each["sensor"]: each for each in json.loads(capsys.readouterr().out)["sensors"]}
    assert told["bench"]["health"] == "fresh"
    assert told["hull"]["health"] == "never-reported"


@pytest.mark.long
def test_on_a_terminal_each_step_is_asked(shed: Path, tmp_path: Path) -> None:
    """Salt, how long it is wet, how long the sensor is in: asked in turn, Enter takes what is usual."""
    now = SystemClock().now().utc
    with Logbook(shed) as logbook:
        logbook.append(Reading("bench", now - 60 * age, now - 60 * age, 291.15, 0.785) for age in range(40))
    child = pexpect.spawn(
        sys.executable,
        ["-m", "curewatch", "sensor", "check", "bench", "--wait", "0"],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        encoding="utf-8",
        timeout=PATIENCE,
        dimensions=(40, 80),
    )
    child.expect("Which salt")
    child.sendline("LiCl")
    child.expect("18 degC")
    child.expect("Which salt")
    child.sendline("")
    child.expect("made wet")
    child.sendline("")
    child.expect("in the jar")
    child.sendline("40 min")
    child.expect("Write it into the logbook")
    child.sendline("")
    child.expect("One more salt")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0
    with Logbook(shed, read_only=True) as logbook:
        assert len(logbook.entries("sensor-check")) == 1


def test_a_live_check_waits_until_the_sensor_rests(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The desk looks again and again while the logbook grows, and stops as soon as the reading rests."""
    start = 1_790_000_000.0
    configuration, words = settings(None)
    with Logbook(shed) as logbook:
        logbook.append(
            Reading(
                "bench", start + 60 * minute, start + 60 * minute, 291.15, 0.755 - max(0, 25 - minute) / 100
            )
            for minute in range(90)
        )
        clock = ManualClock(start, 0.0)
        desk = CheckSession(logbook, configuration, words, clock, json=False, keep=True, ask=None)
        desk.check(desk.source(None), "bench", "NaCl", None, 3600.0)
        waited = clock.now().utc - start
        assert 34 * 60 <= waited <= 36 * 60
        told = capsys.readouterr()
        assert "in the jar for 0 min of 20" in told.err
        assert "humidity still moves" in told.err
        assert "One more salt" in told.out
        clock = ManualClock(start, 0.0)
        impatient = CheckSession(logbook, configuration, words, clock, json=False, keep=True, ask=None)
        with pytest.raises(NotSettled, match="give it time"):
            impatient.check(impatient.source(None), "bench", "NaCl", None, 600.0)
        assert clock.now().utc - start <= 630
