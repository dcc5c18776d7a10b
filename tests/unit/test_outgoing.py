"""When notices are sent: soon after something rang, later after a failure, never before the first look."""

from pathlib import Path
from typing import Any

import pytest

from curewatch import configuration
from curewatch.clock import Instant
from curewatch.daemon import outgoing
from curewatch.daemon.child import ChildAnswer
from curewatch.daemon.outgoing import Outgoing
from curewatch.notices.request import Delivered, DeliveryRequest

SETTINGS = configuration.parse('[notices]\ncommand = ["ring"]')


class InHand:
    """A child that answers what it is told to, at the next turn."""

    answers: list[ChildAnswer]
    asked: list[DeliveryRequest]

    def __init__(self, module: str) -> None:
        self._ready: list[ChildAnswer] = []

    @property
    def busy(self) -> bool:
        return bool(self._ready)

    def ask(self, asked: Any) -> None:
        self.asked.append(asked)
        self._ready.append(self.answers.pop(0) if self.answers else ChildAnswer(Delivered()))

    def collect(self) -> ChildAnswer | None:
        return self._ready.pop() if self._ready else None


class Turning:
    """An Outgoing that is turned each second."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *answers: ChildAnswer) -> None:
        InHand.answers, InHand.asked = list(answers), []
        monkeypatch.setattr(outgoing, "Child", InHand)
        self.said: list[str] = []
        self.outgoing = Outgoing(SETTINGS, Path("shed.sqlite"), self.said.append)
        self.second = 0

    @property
    def now(self) -> Instant:
        return Instant(1e9 + self.second, float(self.second))

    def runs(self, seconds: int) -> list[int]:
        """When the child was asked in these seconds."""
        asked = []
        for _ in range(seconds):
            before = len(InHand.asked)
            self.outgoing.look(self.now)
            asked += [self.second] * (len(InHand.asked) - before)
            self.second += 1
        return asked


def failed(name: str, why: str = "status 7") -> ChildAnswer:
    return ChildAnswer(Delivered(troubles={name: why}))


def test_nothing_is_sent_before_the_first_look(monkeypatch: pytest.MonkeyPatch) -> None:
    """What stands in the logbook may be over; and where nobody is told nothing is ever asked."""
    turning = Turning(monkeypatch)
    turning.outgoing.wake(turning.now)
    assert turning.runs(100) == []
    turning.outgoing.begin(turning.now)
    assert turning.runs(100) == [100, 102]
    turning.outgoing.begin(turning.now)
    turning.outgoing.replace(configuration.Configuration(), turning.now)
    assert turning.runs(100) == []


def test_what_failed_rests_longer_each_time_and_is_said_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A wake in between goes to the others, and does not take its turn away."""
    turning = Turning(monkeypatch, *[failed("phone")] * 6, ChildAnswer(Delivered(sent=["phone"])))
    turning.outgoing.begin(turning.now)
    turning.second = 2
    assert turning.runs(25) == [2]
    turning.outgoing.wake(turning.now)
    InHand.answers.insert(0, ChildAnswer(Delivered()))
    assert turning.runs(1000) == [29, 33, 94, 215, 456, 757]
    assert [asked.resting for asked in InHand.asked[:3]] == [frozenset(), frozenset({"phone"}), frozenset()]
    assert turning.said == ["phone: status 7"]
    turning.runs(400)
    assert turning.said[1:] == ["phone: works again"]


def test_another_trouble_is_said_and_one_that_is_over_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """The addresses and the child itself are no receivers: a run without their trouble ends it."""
    answers = [failed("addresses", "mode 0644"), failed("addresses", "no file"), ChildAnswer(None, "killed")]
    turning = Turning(monkeypatch, *answers)
    turning.outgoing.begin(turning.now)
    turning.runs(300)
    said = ["addresses: mode 0644", "addresses: no file", "sending: killed"]
    assert turning.said[:3] == said
    assert sorted(turning.said[3:]) == ["addresses: works again", "sending: works again"]


def test_it_looks_when_the_outbox_says(monkeypatch: pytest.MonkeyPatch) -> None:
    """At the end of quiet hours for instance; at most every two seconds."""
    later = ChildAnswer(Delivered(look_at=1e9 + 500.0))
    turning = Turning(monkeypatch, later, ChildAnswer(Delivered(look_at=1e9)))
    turning.outgoing.begin(turning.now)
    assert turning.runs(1000) == [2, 500, 503]
