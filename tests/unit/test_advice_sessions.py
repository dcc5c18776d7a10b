"""Sessions lie inside windows, working hours and recoat windows, and nothing is lost."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from curewatch.advice.plan import layup
from curewatch.advice.plan.sessions import CHEMICAL, FIRST, MECHANICAL, Work, WorkPace, schedule
from curewatch.advice.plan.windows import Span, Starts, Strip
from curewatch.model.film.lots import rate_factor_at
from curewatch.model.mass.pot import pot
from curewatch.units import HOUR
from tests.unit.test_advice_progress import ASKED, ahead, shed
from tests.unit.test_advice_progress import NOW as PROGRESS_NOW
from tests.unit.test_rules import TABLE

NOW = 1_795_000_500.0
DAYS = tuple(Span(NOW + day * 24 * HOUR, NOW + day * 24 * HOUR + 12 * HOUR) for day in range(3))


def strip(
    go: list[tuple[float, float]],
    opens: float = 3.0,
    closes: float = 6.0,
    firm: float = 8.0,
    ready: float = 12.0,
) -> Strip:
    """Starts over two days that are a go in these spans of hours; one recoat window for all."""
    start = NOW + 900.0 * np.arange(193)
    hours = (start - NOW) / HOUR
    probability = np.zeros(193)
    for begin, end in go:
        probability[(hours >= begin) & (hours <= end)] = 0.95
    starts = Starts(
        start, probability, probability, start + opens * HOUR, start + closes * HOUR, start + 7 * HOUR,
        start + firm * HOUR, start + ready * HOUR,
    )  # fmt: skip
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


def test_batches_are_for_the_warmest_air_of_their_session() -> None:
    """From 10 to 22 degC in four hours: at their end a cup for the cold morning would kick in use."""
    asked: list[Span] = []

    def life(_: float, mixed: Span) -> float:
        asked.append(mixed)
        return 3000.0

    (made, *_) = schedule(works(4), strip([(0, 48)]), pace()._replace(pot_life=life)).sessions
    assert set(asked) == {Span(made.start, made.start + 2 * HOUR + 900.0)}
    shed_now = shed(PROGRESS_NOW, 10.0, 0.5)
    told = layup._pot_life(ASKED, ahead(shed_now, 22.0))
    day = Span(PROGRESS_NOW, PROGRESS_NOW + 4 * HOUR)
    fast = rate_factor_at(ASKED.resin, layup.FAST)
    cold, warm = (pot(ASKED.resin, 0.3, 273.15 + air, rate_factor=fast).pot_life for air in (10.0, 22.0))
    assert told(0.3, day) == pytest.approx(warm, rel=0.12)
    assert told(0.3, day) < warm
    assert told(0.3, Span(day.start, day.start + 60.0)) == pytest.approx(cold, rel=0.12)
    assert cold > 2.0 * warm


def test_a_session_is_timed_on_those_below_it_that_are_warm() -> None:
    """On the first of its side laid within a day; on neither the other side nor yesterday's."""
    asked: list[tuple[tuple[float, int], tuple[tuple[float, int], ...]]] = []

    def next_layer(laid: tuple[float, int], below: tuple[tuple[float, int], ...]) -> tuple[float, float]:
        asked.append((laid, below))
        return laid[0] + 3 * HOUR, laid[0] + 26 * HOUR

    inside = tuple(Work(work.number, "inside", 0.05, 1800.0) for work in works(1))
    long_days = (Span(NOW, NOW + 72 * HOUR),)
    told = pace(in_one_go=1)._replace(next_layer=next_layer, working=long_days)
    made = schedule(works(3) + inside, strip([(0, 9), (30, 48)]), told)
    begun = [session.start for session in made.sessions]
    assert [laid for laid, _ in asked] == [(start, 1) for start in begun]
    belows = [[start for start, _ in below] for _, below in asked]
    assert belows == [[], begun[:1], begun[:2], []]
    later = schedule(works(2), strip([(0, 0), (25, 48)]), told)
    assert len(later.sessions) == 2
    assert asked[-1][1] == ()


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


def _rows() -> list[list[str]]:
    """The table of sessions, `tests/unit/rules/table.md`."""
    part = TABLE.read_text(encoding="utf-8").split("## Sessions of a plan\n")[1].split("\n## ")[0]
    lines = [line for line in part.splitlines() if line.startswith("| ")][1:]
    return [[cell.strip() for cell in line.strip().strip("|").split("|")] for line in lines]


@pytest.mark.parametrize("row", _rows(), ids=" | ".join)
def test_the_next_session_begins_when_the_table_says(row: list[str]) -> None:
    """Inside the recoat window, else ready to sand; the other side when this one is firm."""
    following, starts, begins, bond = row
    hours = [float(each.removesuffix(" h")) for each in starts.split(", ")]
    firm = np.nan if "never firm" in following else 8.0
    ready = np.nan if "never ready" in following else 30.0
    side = "inside" if following.startswith("other") else "outside"
    todo = (Work(1, "outside", 0.05, 105 * 60.0), Work(2, side, 0.05, 105 * 60.0))
    always = WorkPace(1, lambda mass, _: 60.0, (Span(NOW, NOW + 96 * HOUR),), 0.03)
    made = schedule(todo, strip([(each, each) for each in (0.0, *hours)], firm=firm, ready=ready), always)
    names = {CHEMICAL: "chemical", MECHANICAL: "mechanical", FIRST: "ground"}
    found = [(f"{(one.start - NOW) / HOUR:g} h", names[one.bond]) for one in made.sessions[1:]]
    assert found == ([] if begins == "none" else [(begins, bond)])


def test_no_half_job_is_left_without_saying_how() -> None:
    """Where the recoat window passes before the next layer; not where it is used, nor on the last one."""
    cases = [([(0, 0.5), (24, 30)], ["leave", ""]), ([(0, 48)], ["", ""]), ([(0, 0)], ["leave"])]
    for go, told in cases:
        made = schedule(works(6), strip(go), pace())
        assert ["leave" if "peel ply" in session.leave else "" for session in made.sessions] == told


def test_a_batch_is_never_larger_than_the_configured_one() -> None:
    """200 g in cups of at most 60 g are four of 50 g; the pot life may ask for less."""
    for largest, count in ((0.06, 4), (0.2, 1), (0.1, 2)):
        roomy = WorkPace(4, lambda mass, _: 40_000.0, DAYS, 0.03, largest)
        (session,) = schedule(works(4), strip([(0, 48)]), roomy).sessions
        assert session.batches is not None
        assert session.batches.count == count
        assert session.batches.mass <= largest + 1e-9


def test_a_plan_has_batches_of_the_configured_size() -> None:
    """200 g in cups of 60 g are three and one of 20 g, of 45 g four and one; a rest of 5 g is shared."""
    for usual, count, mass, last in ((0.06, 4, 0.06, 0.02), (0.045, 5, 0.045, 0.02), (0.065, 4, 0.05, None)):
        roomy = WorkPace(4, lambda mass, _: 40_000.0, DAYS, 0.02, usual, usual=usual)
        (session,) = schedule(works(4), strip([(0, 48)]), roomy).sessions
        assert session.batches is not None
        assert (session.batches.count, session.batches.mass) == (count, pytest.approx(mass))
        assert session.batches.last == (None if last is None else pytest.approx(last))
        assert session.batches.total == pytest.approx(0.2)
    hasty = WorkPace(4, lambda mass, _: 40.0 / mass, DAYS, 0.02, 0.2, usual=0.2)
    (session,) = schedule(works(4), strip([(0, 48)]), hasty).sessions
    assert session.batches is not None
    assert session.batches.last is None  # a cup of the usual size would kick before it is spread
