"""A look at the advice in a child process: the same answer, remembered, and a failure that is said."""

from pathlib import Path
from typing import Any

import pytest

from curewatch import configuration
from curewatch.clock import Instant
from curewatch.daemon.child import ChildAnswer
from curewatch.daemon.core import Core
from curewatch.daemon.edges.process import ServiceManager
from curewatch.daemon.evaluation import Evaluation
from curewatch.daemon.events import Again, Evaluate, Evaluated, Publish, Show
from curewatch.daemon.loop import Daemon
from curewatch.daemon.thinking import LookRequest, Thinking
from curewatch.logbook import Logbook
from tests.broker import until
from tests.simulators import START, SimulatedShed

SETTINGS = configuration.parse(
    '[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n[sensors.yard]\nrole = "outside"\n'
)
NOW = Instant(START + 60 * 60, 3600.0)


def later(minutes: float) -> Instant:
    """So long after the first look was asked for, by both clocks."""
    return Instant(NOW.utc + 60.0 * minutes, NOW.monotonic + 60.0 * minutes)


def thought(thinking: Thinking, at: Instant) -> tuple[Any, ...]:
    thinking(at, "asked by a test")
    return tuple(until(thinking.collect))


@pytest.mark.long
def test_a_child_answers_as_we_would_and_remembers(tmp_path: Path) -> None:
    """The same entries, documents and lines as in this process; the second look repeats no verdict."""
    path = tmp_path / "logbook.sqlite"
    with Logbook(path) as logbook:
        logbook.append(SimulatedShed().readings(60))
        ours = Evaluation(SETTINGS, logbook)(NOW, "asked by a test")
        thinking = Thinking(SETTINGS, path)
        assert thought(thinking, NOW) == ours
        assert any(isinstance(said, Publish) and said.topic == "advice" for said in ours)
        again = thought(thinking, NOW)
    kinds = [said.kind for said in again if isinstance(said, Show)]
    assert "verdict" not in kinds
    assert "verdict" in [said.kind for said in ours if isinstance(said, Show)]


@pytest.mark.long
def test_a_look_that_fails_is_said_and_the_next_may_succeed(tmp_path: Path) -> None:
    """No logbook there: a loud line, no exception, and the daemon asks again later."""
    path = tmp_path / "logbook.sqlite"
    thinking = Thinking(SETTINGS, path)
    line, again = thought(thinking, NOW)
    assert isinstance(line, Show)
    assert line.loud
    assert isinstance(again, Again)
    assert "could not be worked out" in line.text
    with Logbook(path) as logbook:
        logbook.append(SimulatedShed().readings(60))
        assert len(thought(thinking, NOW)) > 1


class SlowChild:
    """Keeps each question until the test answers it."""

    def __init__(self) -> None:
        self.asked: list[LookRequest] = []
        self.answers: list[ChildAnswer] = []
        self.busy = False

    def ask(self, asked: LookRequest) -> None:
        assert not self.busy
        self.asked.append(asked)
        self.busy = True

    def collect(self) -> ChildAnswer | None:
        if not self.answers:
            return None
        self.busy = False
        return self.answers.pop()


def test_a_look_asked_for_while_another_runs_is_made_after_it(tmp_path: Path) -> None:
    """Three are asked for while one runs: one more is made, for the last of them; then none."""
    thinking, child = Thinking(SETTINGS, tmp_path / "logbook.sqlite"), SlowChild()
    thinking._child = child  # type: ignore[assignment]
    thinking(NOW, "first look")
    for minute, reason in enumerate(("L1 was laid", "bench is silent", "a countdown"), start=1):
        thinking(later(minute), reason)
        thinking.go_on(later(minute))
    assert [one.reason for one in child.asked] == ["first look"]  # it runs still
    for minute in (4, 5):
        child.answers.append(ChildAnswer(((), b"remembered")))
        assert thinking.collect() == ()
        thinking.go_on(later(minute))
    assert [(one.at, one.reason, one.memory) for one in child.asked[1:]] == [
        (later(4), "a countdown", b"remembered")
    ]


@pytest.mark.long
def test_the_daemon_s_loop_begins_the_look_that_waits(tmp_path: Path) -> None:
    """Who asked last while the first ran, the loop's own watch included, gets the second look."""
    settings = configuration.parse(f"[logbook]\npath = {str(tmp_path / 'logbook.sqlite')!r}\n")
    reasons: list[str] = []
    daemon, child = Daemon(settings), SlowChild()
    daemon.keepers[""].thinking._child = child  # type: ignore[assignment]

    def think(at: Instant, reason: str) -> None:
        reasons.append(reason)
        daemon.keepers[""].thinking(at, reason)

    daemon.keepers[""].actor.think = think  # type: ignore[assignment]
    try:
        for reason in ("first look", "L1 was laid", "a countdown"):
            think(NOW, reason)
        for _ in range(3):
            daemon._turn(ServiceManager({}))
        wanted = ["first look", reasons[-1]]
        for _ in range(2):
            child.answers.append(ChildAnswer(((), b"")))
            daemon._turn(ServiceManager({}))
            daemon._turn(ServiceManager({}))
    finally:
        daemon.keepers[""].logbook.close()
    assert reasons[:3] == ["first look", "L1 was laid", "a countdown"]
    assert [one.reason for one in child.asked] == wanted


def test_a_look_that_failed_is_made_again_within_minutes(tmp_path: Path) -> None:
    """A countdown that was due is not left for a quarter of an hour because the machine was too busy."""
    settings = configuration.parse(f"[logbook]\npath = {str(tmp_path / 'logbook.sqlite')!r}\n")
    core = Core(settings, NOW)
    thinking, child = Thinking(settings, tmp_path / "logbook.sqlite"), SlowChild()
    thinking._child = child  # type: ignore[assignment]

    def look(seconds: float) -> bool:
        at = Instant(NOW.utc + seconds, NOW.monotonic + seconds)
        return any(isinstance(said, Evaluate) for said in core.keeping.look(at, core.clock, {}))

    assert look(60.0)
    thinking(NOW, "first look")
    child.answers.append(ChildAnswer(None, "it took too long"))
    core.receive(Evaluated(NOW, thinking.collect() or ()))
    made = [minute for minute in range(2, 16) if look(60.0 * minute)]
    assert made[0] <= 3
