"""Once a local day the daemon seals the logbook, and lets old readings go."""

from datetime import date
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.clock import ManualClock
from curewatch.daemon.core import Core
from curewatch.daemon.daily import Daily, DayRequest, new_day
from curewatch.daemon.events import Show
from curewatch.daemon.watch_keeping import WatchKeeping
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.logbook.keys import key_path
from curewatch.logbook.sealing import check_seals, prove, seal
from curewatch.units import DAY, HOUR, MINUTE
from tests import record_world as world
from tests.broker import until

EVENING = 1_795_640_400.0  # 2026-11-25T21:00Z: 23:00 in Athens


def look(work: Daily, clock: ManualClock) -> None:
    """One look, and those that follow until what it asked for is done and said."""
    work.look(clock.now())
    until(lambda: work.look(clock.now()) or not work.busy)


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


@pytest.mark.long
def test_a_seal_is_made_when_the_local_day_changes(logbook: Logbook):
    """Not before local midnight, once after it, and the code that was shown proves the day."""
    clock = ManualClock(EVENING)
    logbook.append(world.readings(EVENING - DAY, EVENING, step=600.0))
    work, saying = daily(logbook, clock)
    for _ in range(59):
        look(work, clock)
        clock.advance(MINUTE)
    assert saying.said == []
    for _ in range(10):
        clock.advance(MINUTE)
        look(work, clock)
    (said,) = saying.said
    assert prove(logbook, said.removeprefix("sealed; code ")).reason == "day"


@pytest.mark.long
def test_a_day_missed_while_nothing_ran_is_sealed_at_the_next_start(logbook: Logbook):
    """The daemon was off at midnight: the first look of the next day seals."""
    clock = ManualClock(EVENING)
    made = seal(logbook, reason="day", at=EVENING)
    logbook.write(Entry("daemon", {"what": "sealed", "code": made.code}, EVENING))
    clock.advance(3 * DAY)
    work, saying = daily(logbook, clock)
    look(work, clock)
    assert len(saying.said) == 1
    assert len(check_seals(logbook).seals) == 2


@pytest.mark.long
def test_a_day_that_cannot_be_sealed_is_loud_and_tried_again(logbook: Logbook):
    """Others can read the key: said, the daemon goes on, and an hour later it is put right."""
    clock = ManualClock(EVENING)
    work, saying = daily(logbook, clock)
    key_path(logbook.path).write_text("no key")
    key_path(logbook.path).chmod(0o644)
    clock.advance(2 * HOUR)
    look(work, clock)
    assert "not sealed" in saying.said[0]
    key_path(logbook.path).unlink()
    clock.advance(30 * MINUTE)
    look(work, clock)
    assert len(saying.said) == 1
    clock.advance(31 * MINUTE)
    look(work, clock)
    assert saying.said[1].startswith("sealed")


@pytest.mark.long
def test_readings_are_kept_as_long_as_configured(logbook: Logbook):
    """With keep_days the day's work lets old ones go; without it nothing goes."""
    logbook.append(world.readings(EVENING - 60 * DAY, EVENING, step=1800.0))
    for kept, day in ((None, "2026-11-26"), (30, "2026-11-27")):
        before = logbook.series("hull").time.size
        done = new_day(DayRequest(logbook.path, date.fromisoformat(day), EVENING + HOUR, kept))
        assert (done.pruned > 0) == (logbook.series("hull").time.size < before) == (kept is not None)
    assert logbook.verify().pruned > 0


def test_two_that_seal_one_day_make_one_seal(logbook: Logbook):
    """The child of a daemon that was killed and that of the next: the second finds the day sealed."""
    logbook.append(world.readings(EVENING - DAY, EVENING, step=600.0))
    asked = DayRequest(logbook.path, date(2026, 11, 26), EVENING + HOUR, None)
    first, second = new_day(asked), new_day(asked._replace(at=EVENING + HOUR + 1.0))
    assert first == second
    (made,) = check_seals(logbook).seals
    assert made.code == first.code


@pytest.mark.long
def test_a_child_killed_between_its_commits_leaves_a_day_to_be_sealed(logbook: Logbook):
    """The block is over and the seal not written: the next start seals, once, and the chain holds."""
    clock = ManualClock(EVENING)
    seal(logbook, reason="day", at=EVENING - DAY)
    logbook.append(world.readings(EVENING - DAY, EVENING, step=600.0))
    logbook.tell_rejections(EVENING)
    block = logbook.close_block().block
    assert len(logbook.entries(EntryKind.SEAL)) == 1  # the fault happened: there it was killed
    work, saying = daily(logbook, clock)
    saying.said.clear()
    look(work, clock)
    assert len(saying.said) == 1
    _, made = check_seals(logbook).seals
    assert made.block == block
    logbook.verify()


def test_a_code_nobody_was_told_is_told_at_the_next_start(logbook: Logbook):
    """Sealed, and the daemon killed before it said so: the next one says it, and seals no second time."""
    clock = ManualClock(EVENING)
    made = seal(logbook, reason="day", at=EVENING)
    work, saying = daily(logbook, clock)
    look(work, clock)
    assert saying.said == [f"sealed; code {made.code}"]
    logbook.write(Entry("daemon", {"what": "sealed", "code": made.code}, EVENING))
    work, saying = daily(logbook, clock)
    look(work, clock)
    assert saying.said == []
    assert len(logbook.entries(EntryKind.SEAL)) == 1


def test_a_clock_that_is_not_set_ends_no_day(logbook: Logbook):
    """A board without a battery clock wakes in 1970: that is no new day."""
    made = seal(logbook, reason="day", at=EVENING)
    logbook.write(Entry("daemon", {"what": "sealed", "code": made.code}, EVENING))
    work, saying = daily(logbook, ManualClock(1000.0))
    look(work, ManualClock(2000.0))
    assert saying.said == []
    assert len(logbook.entries(EntryKind.SEAL)) == 1


@pytest.mark.long
def test_the_real_core_takes_what_the_day_says(logbook: Logbook):
    """The line reaches the core's own queue, to be stored and shown after its commit."""
    clock = ManualClock(EVENING)
    chosen = configuration.parse("")
    core = Core(chosen, clock.now(), memory=logbook.note, keeping=WatchKeeping(chosen, {}))
    work = Daily(core, logbook, chosen, clock.now())
    clock.advance(DAY)
    look(work, clock)
    waiting = [item for item in core._open.after if isinstance(item, Show)]
    assert [item.text for item in waiting if item.text.startswith("sealed; code ")]
