"""The outbox: what rings is told at least once, joined, never when it is over, and quietly at night."""

from collections.abc import Iterable
from datetime import time
from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from curewatch.advice.alert import recoat, watchers
from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key, event_as_plain
from curewatch.logbook import Entry, LogbookStore, open_logbook
from curewatch.notices import outbox
from curewatch.notices.lines import line
from curewatch.notices.outbox import BOILS, CLOSING, SHORT, Notice, Outbox, QuietHours, Receiver
from curewatch.phrases import phrase
from curewatch.wording import plain_wording
from tests.examples import up_to

START = 1_792_267_200.0  # Sat 2026-10-17 21:00 in Lisbon
QUIET = QuietHours(time(22), time(7), ZoneInfo("Europe/Lisbon"))
PHONE, LAMP = Receiver("phone"), Receiver("command", told_of_ends=True)
DAMP, POT, WINDOW, LOST, GO, PEEL = (
    Key(AlertKind.CONDENSATION),
    Key(AlertKind.POT, "L1"),
    Key(AlertKind.RECOAT_WINDOW, "L1"),
    Key(AlertKind.SENSOR_LOST, "hull"),
    Key(AlertKind.GO_NOW),
    Key(AlertKind.PEEL_PLY, "L1"),
)
RAISED, CLEARED, SEEN = Happening.RAISED, Happening.CLEARED, Happening.ACKNOWLEDGED


class Evening:
    """A logbook, what happens in its shed by the minute, and a receiver that is offered what is due."""

    def __init__(self, log: LogbookStore, to: Receiver = PHONE, quiet: QuietHours | None = None) -> None:
        self.log, self.to, self.quiet = log, to, quiet
        self.got: list[tuple[int, Notice]] = []
        self._read: Outbox | None = None  # until something is written

    def _write(self, entry: Entry) -> int:
        self._read = None
        return self.log.write(entry).number

    def happens(self, minute: float, happening: Happening, key: Key, meaning: str = "", **more: float) -> int:
        at = START + 60 * minute
        text = phrase("{work}: {kind} {of}", work="J1 tiller", kind=key.kind, of=key.subject)
        event = Event(happening, key, at, text, "", more.get("due"), meaning)
        return self._write(Entry("alert", event_as_plain(event), at))

    def says(self, minute: float, verdict: str) -> int:
        payload = {"verdict": verdict, "was": "go", "headline": "too damp", "resin": "epoxy-slow"}
        return self._write(Entry("verdict", payload, START + 60 * minute))

    def due(self, minute: float) -> outbox.Due:
        self._read = self._read or outbox.read(self.log)
        return outbox.due(self._read, self.to, START + 60 * minute, self.quiet)

    def passes(self, minutes: Iterable[int], reached: bool = True) -> list[list[Key]]:
        """Each minute what is due is sent, where the receiver is reached; what it was told."""
        told = []
        for minute in minutes:
            notice = self.due(minute).notice
            if notice is not None and reached:
                self._write(outbox.entry_of(notice, self.to.name, "", START + 60 * minute))
                self.got.append((minute, notice))
                told.append([event.key for event in notice.events])
        return told


@pytest.fixture
def log(tmp_path: Path) -> Iterable[LogbookStore]:
    with open_logbook(tmp_path / "shed.sqlite") as found:
        yield found


def test_forty_one_alerts_while_nobody_is_reached_are_one_message(log: LogbookStore) -> None:
    """And one by one while everybody is reached they are two; each is told once."""
    lost = [Key(AlertKind.SENSOR_LOST, f"s{number}") for number in range(41)]
    evening = Evening(log)
    for number, key in enumerate(lost):
        evening.happens(number / 2, RAISED, key)
        evening.passes([number // 2], reached=False)
    (one,) = evening.passes(range(20, 60))
    assert sorted(one) == sorted(lost)
    other = Evening(log, Receiver("tablet"))
    told = [key for minute in range(100, 160) for keys in other.passes([minute]) for key in keys]
    assert sorted(told) == sorted(lost)
    assert len(other.got) == 1


def test_what_rings_one_after_the_other_waits_for_company(log: LogbookStore) -> None:
    """Forty-one in twenty minutes, each offered at once: two messages, nothing twice."""
    evening, told = Evening(log), list[list[Key]]()
    for minute in range(60):
        if minute < 41 // 2 + 1:
            for half in (0, 1):
                evening.happens(minute, RAISED, Key(AlertKind.SENSOR_LOST, f"s{2 * minute + half}"))
        told += evening.passes([minute])
    assert [len(keys) for keys in told] == [2 * 2, 42 - 4]
    assert len({key for keys in told for key in keys}) == 42


@pytest.mark.parametrize("ending", [CLEARED, SEEN])
def test_what_is_over_or_acknowledged_is_not_told(log: LogbookStore, ending: Happening) -> None:
    """The same alert that stands is told: it is the end that silences it."""
    evening = Evening(log)
    evening.happens(0, RAISED, POT)
    evening.happens(0, RAISED, LOST)
    evening.passes([0], reached=False)
    evening.happens(5, ending, POT)
    assert evening.passes(range(6, 90)) == [[LOST]]


def test_a_go_now_whose_last_start_is_past_is_not_told(log: LogbookStore) -> None:
    evening = Evening(log)
    evening.happens(0, RAISED, GO, due=START + 30 * 60)
    evening.passes(range(30), reached=False)
    assert evening.due(29).notice is not None
    assert evening.passes(range(30, 90)) == []


@pytest.mark.parametrize(
    ("key", "meaning", "waits"),
    [
        (POT, "", False),
        (DAMP, "near", False),
        (WINDOW, recoat.SOON, False),
        (WINDOW, recoat.SHORT, False),
        (WINDOW, recoat.UNSURE, True),
        (WINDOW, "open", True),
        (PEEL, "", True),
        (LOST, "silent", True),
        (Key(AlertKind.STALL, "L1"), "", True),
        (Key(AlertKind.OWN_HEAT, "L1"), watchers.BOILS, False),
        (Key(AlertKind.OWN_HEAT, "L1"), "", True),
    ],
)
def test_only_what_cannot_wait_rings_in_quiet_hours(
    log: LogbookStore, key: Key, meaning: str, waits: bool
) -> None:
    """Raised at half past ten; the rest comes at seven in the morning."""
    evening = Evening(log, quiet=QUIET)
    evening.happens(90, RAISED, key, meaning)
    assert evening.passes(range(90, 700)) == (
        [[key]] if waits else [[key], [key]]
    )  # urgent: told again, once
    assert evening.got[0][0] == (600 if waits else 90)
    assert (CLOSING, SHORT, BOILS) == (recoat.SOON, recoat.SHORT, watchers.BOILS)


def test_what_can_wait_does_not_ride_along_at_night(log: LogbookStore) -> None:
    """A pot rings at midnight alone; what rang an hour before it comes in the morning."""
    evening = Evening(log, quiet=QUIET)
    evening.happens(120, RAISED, LOST)
    evening.happens(180, RAISED, POT)
    assert evening.passes(range(120, 700)) == [[POT], [POT], [LOST]]


def test_quiet_hours_end_at_their_end_and_not_a_minute_before(log: LogbookStore) -> None:
    """Over midnight, within a day, and when the clock goes back in the night of 25 October."""
    day = QuietHours(time(12), time(14), ZoneInfo("UTC"))
    assert QUIET.until(START + 59 * 60) is None
    assert QUIET.until(START + 60 * 60) == START + 600 * 60 == QUIET.until(START + 599 * 60)
    assert QUIET.until(START + 600 * 60) is None
    noon = START + 16 * 3600  # UTC, a day later
    assert [day.until(noon + at) for at in (-1, 0, 7199, 7200)] == [None, noon + 7200, noon + 7200, None]
    autumn = START + 7 * 86_400 + 3 * 3600  # Sun 25 October, 00:00
    assert QUIET.until(autumn) == autumn + 8 * 3600  # seven o'clock is eight hours away


def test_what_cannot_wait_is_told_again_once_until_somebody_acknowledges(log: LogbookStore) -> None:
    evening = Evening(log)
    evening.happens(0, RAISED, POT)
    evening.happens(0, RAISED, LOST)
    assert evening.passes(range(120)) == [[POT, LOST], [POT]]
    assert [(minute, notice.again) for minute, notice in evening.got] == [(0, False), (10, True)]
    evening.happens(130, RAISED, DAMP)
    evening.passes(range(130, 135))
    evening.happens(135, SEEN, DAMP)
    evening.passes(range(135, 200))
    assert len(evening.got) == 3


def test_a_lamp_is_told_of_the_end_of_what_it_was_told(log: LogbookStore) -> None:
    """And of nothing else; a telephone is told of no end at all."""
    lamp, phone = Evening(log, LAMP), Evening(log)
    lamp.happens(0, RAISED, POT)
    told, also = lamp.passes([0]), phone.passes([0])
    lamp.happens(2, SEEN, POT)
    lamp.happens(3, RAISED, LOST)
    lamp.happens(3, CLEARED, LOST)
    told += lamp.passes([2, 3])
    lamp.happens(4, CLEARED, POT)
    told += lamp.passes(range(4, 60))
    also += phone.passes(range(2, 60))
    assert told == [[POT]] * 3
    assert [notice.events[0].happening for _, notice in lamp.got] == [RAISED, SEEN, CLEARED]
    assert also == [[POT]]


def test_a_go_that_was_told_and_holds_no_longer_is_taken_back(log: LogbookStore) -> None:
    """By the verdict that ended it, its job first; not where it was untold, or the day of work ended."""
    told, untold = Evening(log), Evening(log, Receiver("tablet"))
    told.happens(0, RAISED, GO, due=START + 200 * 60)
    assert told.passes(range(5)) == [[GO]]
    told.happens(30, CLEARED, GO)
    assert told.passes(range(30, 40)) == []
    told.says(39, "go")
    assert told.passes(range(39, 40)) == []
    number = told.says(40, "no-go")
    assert told.passes(range(40, 120)) == [[GO]]
    assert told.got[-1][1].about == (number,)
    assert line(told.got[-1][1].events[0], plain_wording(), START) == "J1 tiller: no longer go: too damp"
    assert untold.passes(range(40, 120)) == []


def test_a_clock_that_was_set_back_holds_nothing_up(log: LogbookStore) -> None:
    """A notice and an alert of an hour ahead: what rings now is told within a minute."""
    evening = Evening(log)
    evening.happens(60, RAISED, LOST)
    evening.passes([61])
    evening.happens(0, RAISED, PEEL)
    assert evening.passes(range(3)) == [[PEEL]]


class Step(NamedTuple):
    """What one minute brings."""

    key: Key
    happening: Happening
    reached: bool


STEPS = some.builds(
    Step,
    some.sampled_from([DAMP, POT, LOST, PEEL, WINDOW]),
    some.sampled_from(list(Happening)),
    some.booleans(),
)


@settings(max_examples=up_to(60))
@given(some.lists(STEPS, max_size=25), some.sampled_from([None, QUIET]))
def test_whatever_happens_each_is_told_and_nothing_that_is_over(
    steps: list[Step], quiet: QuietHours | None
) -> None:
    """What stands in the end was told; each notice was about what stood; nothing three times."""
    found, last, at = Outbox(), dict[Key, int](), START
    times: dict[int, int] = {}
    for number, step in enumerate([*steps, *[Step(DAMP, SEEN, True)] * 40], 1):
        at += 60 * (1 if number <= len(steps) else 20)
        outbox._take(found, last, number, Event(step.happening, step.key, at, "", meaning=""))
        notice = outbox.due(found, PHONE, at, quiet).notice
        if notice is None or not step.reached:
            continue
        standing = {ring.number: ring for ring in found.standing.values()}
        for about in notice.about:
            assert about in standing
            times[about] = times.get(about, 0) + 1
            assert times[about] <= (2 if standing[about].urgent else 1)
            assert standing[about].urgent or quiet is None or quiet.until(at) is None
        found.sent.append(outbox.Sent(at, "phone", frozenset(notice.about), notice.again, ""))
    assert {ring.number for ring in found.standing.values()} <= times.keys()
