"""A shed that was renamed begins a new logbook: the old one, with its layers and alerts, is named."""

from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.cli.main import run
from curewatch.clock import ManualClock
from curewatch.configuration import of_no_shed
from curewatch.daemon.events import Show
from curewatch.daemon.loop import Daemon
from curewatch.logbook import Logbook, open_logbook
from curewatch.readings import Reading
from curewatch.wording import plain_wording

START = 1_790_000_000.0
SHED = '[sheds.{}]\nname = "Alder"\n[sheds.{}.sensors.{}]\nrole = "air"\n'


def _settings(folder: Path, *names: str) -> configuration.Configuration:
    """Sheds of these names, each with a sensor of its own."""
    file = folder / "curewatch.toml"
    sheds = "".join(SHED.format(name, name, f"bench-{n}") for n, name in enumerate(names))
    file.write_text(f'{sheds}[logbook]\npath = "kept/logbook.sqlite"\n')
    return configuration.load(file)


def _started(settings: configuration.Configuration) -> list[str]:
    """What a daemon shows as it begins, its first batch stored; then it ends."""
    shown: list[Show] = []
    daemon = Daemon(settings, clock=ManualClock(START, 0.0), show=shown.append)
    for keeper in daemon.keepers.values():
        keeper.actor.think = lambda at, reason: ()
        daemon._clock.sleep(0.3)
        keeper.look(idle=True)
        keeper.close()
    words = plain_wording()
    return [words.say(line.text, line.at) for line in shown if line.loud]


def test_the_logbook_that_a_renamed_shed_left_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By the daemon and the doctor, until the new one has readings; a backup beside it is none."""
    (tmp_path / "kept").mkdir()
    assert _started(_settings(tmp_path, "north", "south")) == []
    Logbook(tmp_path / "kept" / "copy.sqlite").close()
    settings = _settings(tmp_path, "nord", "south")
    assert of_no_shed(settings.each.values()) == [tmp_path / "kept" / "north.sqlite"]
    told = (
        "this logbook is new. Of no shed in the configuration: north.sqlite. "
        "Was this shed renamed? Stop, and name that file as path below [sheds.{}.logbook]"
    )
    with open_logbook(tmp_path / "kept" / "south.sqlite") as logbook:
        logbook.append([Reading("bench-1", START, START, 285.0, 0.7)])
    assert _started(settings) == [told.format("nord")]
    run_doctor = ["doctor", "--shed", "nord", "--config", str(tmp_path / "curewatch.toml")]
    with pytest.raises(SystemExit):
        run(run_doctor)
    assert "of no shed in the configuration: north.sqlite" in " ".join(capsys.readouterr().out.split())
    with open_logbook(tmp_path / "kept" / "nord.sqlite") as logbook:
        logbook.append([Reading("bench-0", START, START, 285.0, 0.7)])
    assert _started(settings) == []
    with pytest.raises(SystemExit):
        run(run_doctor)
    assert "north.sqlite" not in capsys.readouterr().out
