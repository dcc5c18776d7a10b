"""A board that stays open and a journal go by the configuration as it is, not as it was at their start."""

import signal
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from curewatch import configuration
from curewatch.cli.board_loop import Watched
from curewatch.cli.configuration_again import ConfigurationAgain
from curewatch.clock import ManualClock
from curewatch.logbook import Logbook
from curewatch.readings import Reading
from tests.running import Running

NOW = 1_795_000_000.0
SHED = """
[shed]
zone = "{zone}"
[sensors.bench]
role = "air"
{more}
[logbook]
path = "{book}.sqlite"
"""


def test_a_board_goes_by_the_configuration_as_it_is_now(tmp_path: Path) -> None:
    """A sensor that was added, another zone; a file that is wrong or names another logbook is not taken."""
    file = tmp_path / "curewatch.toml"

    def write(zone: str, more: str = "", book: str = "logbook") -> None:
        file.write_text(SHED.format(zone=zone, more=more, book=book))

    write("UTC")
    kept = ConfigurationAgain(configuration.load(file), None)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append([Reading("bench", NOW, NOW, 285.0, 0.6)])
        shed, words = kept.of("")
        board = Watched(logbook, shed, lambda: "", ManualClock(NOW), words, lambda: kept.of(""))

        def shown() -> tuple[list[str], str]:
            sensors = [each.sensor for each in board.look().sensors]
            return sensors, board.words.zone.key

        assert shown() == (["bench"], "UTC")
        write("Asia/Tokyo", '[sensors.hull]\nrole = "surface"')
        new = (["bench", "hull"], "Asia/Tokyo")
        assert shown() == new
        for wrong in (
            ("Mars/Base",),
            ("UTC", "[sensors.keel]\nrole = 'air'\npart = 'none'"),
            ("UTC", "", "b"),
        ):
            write(*wrong)
            assert shown() == new
        file.unlink()
        assert shown() == new
        write("Europe/Lisbon")
        assert shown() == (["bench"], "Europe/Lisbon")


def test_a_journal_is_written_by_the_zone_as_it_is_now(tmp_path: Path) -> None:
    """From the line on that says that the configuration was read again."""
    tokyo = ZoneInfo("Asia/Tokyo")
    daemon = Running(tmp_path, '[shed]\nzone = "UTC"').start()
    try:
        daemon.configure('[shed]\nzone = "Asia/Tokyo"')
        daemon.signal(signal.SIGHUP)
        told = daemon.says("configuration read again")
    finally:
        daemon.stop()
    stamp = next(line for line in told.splitlines() if "read again" in line)[:19]
    said = datetime.fromisoformat(stamp).replace(tzinfo=tokyo)
    assert abs(datetime.now(tokyo) - said) < timedelta(minutes=10)
