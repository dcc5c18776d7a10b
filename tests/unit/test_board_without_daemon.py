"""A board whose daemon is gone says so, and not that readings are kept."""

from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.cli.commands.watch import _looking, daemon_words
from curewatch.cli.configuration_again import ConfigurationAgain
from curewatch.daemon.companion import companion
from curewatch.logbook import Logbook

SHED = '[sensors.bench]\nrole = "air"\n[logbook]\npath = "{}"\n'
PORT = '[serial.usb]\nurl = "/dev/null"\n'
NOBODY = "NO DAEMON RUNS: curewatch watch"


@pytest.mark.parametrize(("sources", "without"), [(PORT, f"only looking; {NOBODY}"), ("", "only looking")])
def test_a_board_tells_when_the_daemon_it_is_attached_to_ends(
    tmp_path: Path, sources: str, without: str
) -> None:
    """Attached it names the daemon as long as that runs; one that only looks tells it where a source is."""
    path = tmp_path / "logbook.sqlite"
    found = configuration.parse(SHED.format(path) + sources)
    kept = ConfigurationAgain(found, None)
    with Logbook(path) as logbook:
        logbook.hold("a test", 0.0)
        with companion(found) as beside:
            told = daemon_words(beside, kept)
            assert told().startswith("readings are kept by a test, process ")
            assert _looking(kept) == "only looking"
            logbook.let_go()
            assert told() == NOBODY
            assert _looking(kept) == without
