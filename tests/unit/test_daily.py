"""Once a local day the daemon seals the logbook, and lets old readings go."""

from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.clock import ManualClock
from curewatch.ingest.core import Core
from curewatch.ingest.daily import Daily
from curewatch.ingest.events import Show
from curewatch.ingest.watch_keeping import WatchKeeping
from curewatch.logbook import Kind, Logbook
from curewatch.logbook.sealing import key_path, prove
from curewatch.units import DAY, HOUR, MINUTE
from tests import record_world as world

EVENING = 1_795_640_400.0  # 2026-11-25T21:00Z: 23:00 in Athens


class Saying:
    """Stands for the core as far as the daily work speaks to it."""

    def __init__(self) -> None:
        self.said: list[str] = []

    def say(self, kind: str, at: object, text: str, payload: object, *, loud: bool = False) -> None:
        self.said.append(text)


@pytest.fixture
def logbook(tmp_path: Path):
    with Logbook(tmp_path / "logbook.sqlite") as opened:
        yield opened


def daily(logbook: Logbook, clock: ManualClock, more: str = "") -> tuple[Daily, Saying]:
    saying = Saying()
    chosen = configuration.parse(f'[shed]\nzone = "Europe/Athens"\n{more}')
    return Daily(saying, logbook, chosen, clock.now()), saying  # type: ignore[arg-type]


def test_a_seal_is_made_when_the_local_day_changes(logbook: Logbook):
    """Not before local midnight, once after it, and the code that was shown proves the day."""
    clock = ManualClock(EVENING)
    logbook.append(world.readings(EVENING - DAY, EVENING, step=600.0))
    work, saying = daily(logbook, clock)
    for _ in range(59):
        work.look(clock.now())
        clock.advance(MINUTE)
    assert saying.said == []
    for _ in range(10):
        clock.advance(MINUTE)
        work.look(clock.now())
    (said,) = saying.said
    assert prove(logbook, said.removeprefix("sealed; code ")).why == "day"


def test_a_day_missed_while_nothing_ran_is_sealed_at_the_next_start(logbook: Logbook):
    """The daemon was off at midnight: the first look of the next day seals."""
    clock = ManualClock(EVENING)
    work, _ = daily(logbook, clock)
    clock.advance(2 * HOUR)
    work.look(clock.now())
    clock.advance(3 * DAY)
    work, saying = daily(logbook, clock)
    work.look(clock.now())
    assert len(saying.said) == 1
    assert len(logbook.entries(Kind.SEAL)) == 2


def test_a_day_that_cannot_be_sealed_is_loud_and_tried_again(logbook: Logbook):
    """Others can read the key: said, the daemon goes on, and an hour later it is put right."""
    clock = ManualClock(EVENING)
    work, saying = daily(logbook, clock)
    key_path(logbook.path).write_text("no key")
    key_path(logbook.path).chmod(0o644)
    clock.advance(2 * HOUR)
    work.look(clock.now())
    assert "not sealed" in saying.said[0]
    key_path(logbook.path).unlink()
    clock.advance(30 * MINUTE)
    work.look(clock.now())
    assert len(saying.said) == 1
    clock.advance(31 * MINUTE)
    work.look(clock.now())
    assert saying.said[1].startswith("sealed")


def test_readings_are_kept_as_long_as_configured(logbook: Logbook):
    """With keep_days the day's work lets old ones go; without it nothing goes."""
    clock = ManualClock(EVENING)
    logbook.append(world.readings(EVENING - 60 * DAY, EVENING, step=1800.0))
    for more, fewer in (("", False), ("[logbook]\nkeep_days = 30\n", True)):
        before = logbook.series("hull").time.size
        work, _ = daily(logbook, clock, more)
        clock.advance(DAY)
        work.look(clock.now())
        assert (logbook.series("hull").time.size < before) is fewer
    assert logbook.verify().pruned > 0


def test_the_real_core_takes_what_the_day_says(logbook: Logbook):
    """The line reaches the core's own queue, to be stored and shown after its commit."""
    clock = ManualClock(EVENING)
    chosen = configuration.parse("")
    core = Core(chosen, clock.now(), memory=logbook.note, keeping=WatchKeeping(chosen, {}))
    work = Daily(core, logbook, chosen, clock.now())
    clock.advance(DAY)
    work.look(clock.now())
    waiting = [item for item in core._open.after if isinstance(item, Show)]
    assert [item.text for item in waiting if item.text.startswith("sealed; code ")]
