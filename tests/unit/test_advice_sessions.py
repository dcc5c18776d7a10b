"""Sessions lie inside windows, working hours and recoat windows, and nothing is lost."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from curewatch.advice.plan.sessions import CHEMICAL, FIRST, MECHANICAL, Work, WorkPace, schedule
from curewatch.advice.plan.windows import Span, Starts, Strip
from curewatch.units import HOUR

NOW = 1_795_000_500.0
DAYS = tuple(Span(NOW + day * 24 * HOUR, NOW + day * 24 * HOUR + 12 * HOUR) for day in range(3))


def strip(go: list[tuple[float, float]], opens: float = 3.0, closes: float = 6.0) -> Strip:
    """Starts over two days that are a go in these spans of hours; one recoat window for all."""
    start = NOW + 900.0 * np.arange(193)
    hours = (start - NOW) / HOUR
    probability = np.zeros(193)
    for begin, end in go:
        probability[(hours >= begin) & (hours <= end)] = 0.95
    starts = Starts(
        start, probability, probability, start + opens * HOUR, start + closes * HOUR, start + 9 * HOUR
    )
    return Strip("epoxy-slow", "", starts, ("dry",) * 193, (), 0.8)


def works(count: int, minutes: float = 30.0, side: str = "outside") -> tuple[Work, ...]:
    return tuple(Work(number, side, 0.05, minutes * 60.0) for number in range(1, count + 1))


def pace(in_one_go: int = 4, life: float = 3000.0) -> WorkPace:
    return WorkPace(in_one_go, lambda mass, _: life / (1 + mass), DAYS, 0.03)


def test_six_layers_go_on_in_two_sessions_that_bond_chemically() -> None:
    """Four at once, then two inside the recoat window of the first: from 3 h + the first's own time."""
    made = schedule(works(6), strip([(0, 48)]), pace())
    assert [len(session.layers) for session in made.sessions] == [4, 2]
    assert [session.bond for session in made.sessions] == [FIRST, CHEMICAL]
    first, second = made.sessions
    assert first.start == NOW
    # By hand: 15 min + 4 x 30 min = 2 h 15 min, and 5 batches? 0.2 kg at 0.2/7200 kg/s; each cup lasts
    # 75 % of 3000/(1+m) s, so at most about 0.06 kg: 4 cups of 50 g, 12 min of mixing: 2 h 27 min in all.
    assert first.batches is not None
    assert first.batches.count == 4
    assert first.end - first.start == pytest.approx(2 * HOUR + 27 * 60)
    # The last resin was laid 2 h 27 min after the first: so not before 3 h + 2 h 27 min, on a quarter.
    assert second.start - NOW == pytest.approx(5.5 * HOUR)
    assert not made.left_over


def test_when_the_window_closes_before_the_next_go_the_bond_is_mechanical() -> None:
    """Nobody can start between 1 h and 24 h: the rest waits for the morning, and is abraded."""
    made = schedule(works(6), strip([(0, 0.5), (24, 30)]), pace())
    assert [session.bond for session in made.sessions] == [FIRST, MECHANICAL]
    assert made.sessions[1].start == NOW + 24 * HOUR


def test_what_finds_no_start_is_left_over() -> None:
    """One short window, three layers at a time: the rest is told, not forgotten."""
    made = schedule(works(8), strip([(0, 0)]), pace(in_one_go=3))
    assert [work.number for work in made.left_over] == [4, 5, 6, 7, 8]


def test_the_other_side_is_a_session_of_its_own_on_its_own_ground() -> None:
    """Outside first, then inside, each on prepared ground."""
    both = works(2) + tuple(Work(work.number, "inside", 0.05, 1800.0) for work in works(2))
    made = schedule(both, strip([(0, 48)]), pace(in_one_go=8))
    assert [{work.side for work in session.layers} for session in made.sessions] == [{"outside"}, {"inside"}]
    assert [session.bond for session in made.sessions] == [FIRST, FIRST]


def test_a_cup_that_always_kicks_too_soon_is_said() -> None:
    """A resin for which no batch can be planned has a session without batches."""
    made = schedule(works(2), strip([(0, 48)]), pace(life=60.0))
    assert made.sessions[0].batches is None


@given(
    some.integers(1, 12),
    some.integers(1, 6),
    some.lists(some.tuples(some.floats(0, 40), some.floats(0, 8)), max_size=4),
)
def test_no_layer_is_lost_and_every_session_keeps_its_limits(
    count: int, in_one_go: int, spans: list[tuple[float, float]]
) -> None:
    """Layers in order, each once; every start a go, in working hours, after the session before."""
    given_strip = strip([(begin, begin + length) for begin, length in spans])
    made = schedule(works(count), given_strip, pace(in_one_go))
    laid = [work.number for session in made.sessions for work in session.layers]
    assert laid + [work.number for work in made.left_over] == list(range(1, count + 1))
    previous_end = -np.inf
    for session in made.sessions:
        assert len(session.layers) <= in_one_go
        assert session.start >= previous_end
        assert session.probability >= given_strip.needed
        assert any(span.start <= session.start <= span.end for span in DAYS)
        if session.bond == CHEMICAL:
            before = made.sessions[made.sessions.index(session) - 1]
            assert before.next_before is not None
            assert session.start <= before.next_before
        previous_end = session.end
