"""The coming windows agree with the verdict on each start, and read at a glance."""

import json
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import icalendar
import numpy as np
import pytest
from msgspec.structs import replace

from curewatch import configuration
from curewatch.advice.judge import limits, reasons
from curewatch.advice.judge.answer import Check, Status
from curewatch.advice.judge.ground import Ground
from curewatch.advice.judge.question import Question, ask
from curewatch.advice.judge.situation import Place, Surfaced
from curewatch.advice.plan import windows
from curewatch.advice.plan.calendar import write
from curewatch.advice.plan.windows import (
    LENGTH,
    GoWindow,
    Span,
    Starts,
    Strip,
    appointments,
    in_order,
    strip,
)
from curewatch.answers.document import as_json
from curewatch.answers.windows import windows_document
from curewatch.cli.main import run
from curewatch.cli.screens import windows as screen
from curewatch.clock import SystemClock
from curewatch.jobs import FaceBelow
from curewatch.logbook import Logbook
from curewatch.materials import load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.model.air.outlook import Outlook
from curewatch.page.drawing import pictures
from curewatch.physics import moist_air
from curewatch.readings import Reading
from curewatch.shed.consult import working_spans
from curewatch.shed.look import coming_hours
from curewatch.units import HOUR, MINUTE
from curewatch.wording import Wording

NOW = 1_795_000_500.0  # Wed 18 Nov 2026 11:15:00 UTC, a whole quarter of an hour
FAST = load_resin("epoxy-fast")
ASKED = Question(FAST, limits.for_resin(FAST), load_substrate("plywood"))
ALWAYS = (Span(NOW, NOW + 1e6),)


def shed(celsius: float = 18.0, humidity: float = 0.55) -> Surfaced:
    kelvin = celsius + 273.15
    pressure = float(moist_air.vapour_pressure(kelvin, humidity))
    return Surfaced(
        NOW,
        air=Place("bench", "air", NOW - 30, kelvin, 0.2, humidity, 0.02, pressure, 20.0),
        surface=Place("hull", "surface", NOW - 30, kelvin, 0.2),
    )


def days(situation: Surfaced, swing: float = 7.0) -> Outlook:
    """64 paths of warm days and cold nights, each a little different."""
    time = NOW + 900.0 * np.arange(4 * 120 + 1)
    shift = np.linspace(-1.5, 1.5, 64)[:, None]
    wave = swing * np.sin(2 * np.pi * (time - NOW) / 86400.0)
    air = 285.15 + shift + wave
    assert situation.air is not None
    pressure = np.minimum(situation.air.vapour_pressure, moist_air.saturation_pressure(air))
    return Outlook(time, air, pressure, air - 0.3, "demo", 48.0)


def test_every_start_of_the_strip_is_what_the_verdict_says_of_it() -> None:
    """One way to judge: likelihood and times agree with assess, start by start."""
    situation = shed()
    outlook = days(situation)
    found = strip(ASKED, situation, outlook, ALWAYS)
    for index in range(0, found.starts.start.size, 24):
        start = float(found.starts.start[index])
        said = ask(ASKED, situation, outlook, start)
        assert said.probability == pytest.approx(float(found.starts.probability[index]), abs=0.04)
        likely = said.moment("laminate-from").likely
        if likely is not None:
            assert found.starts.laminate_from[index] == pytest.approx(likely, abs=300.0)


def test_the_windows_are_the_runs_of_starts_that_hold_often_enough() -> None:
    """By day there is a window, by night none; each best start lies within its own."""
    found = strip(ASKED, shed(), days(shed()), ALWAYS)
    assert len(found.windows) >= 2
    go = found.starts.probability >= found.needed
    covered = np.zeros(go.size, dtype=bool)
    for window in found.windows:
        assert window.first <= window.best <= window.last
        covered[window.first : window.last + 1] = True
    assert np.array_equal(covered, go)
    assert not go.all()


def test_a_next_layer_needs_somebody_in_the_shed() -> None:
    """With no working hours nothing follows; with all hours it does wherever the window opens."""
    always, never = (strip(ASKED, shed(), days(shed()), hours) for hours in (ALWAYS, ()))
    assert never.starts.next_layer.max() == 0.0
    assert np.all(always.starts.next_layer <= always.starts.probability)
    assert "G" in marks(always)
    assert "G" not in marks(never)


def marks(one: Strip) -> str:
    """What the screen shows of the starts."""
    (resin,) = windows_document((one,), NOW, "").resins
    return screen.marks(resin)


def test_the_best_start_is_one_at_which_somebody_is_in_the_shed() -> None:
    """In a mild shed any hour would do; what is advised lies in the working hours."""
    hours = (Span(NOW + 20 * HOUR, NOW + 23 * HOUR),)
    outlook = coming_hours(shed(21.0, 0.4), ASKED.substrate, length=LENGTH)
    assert outlook is not None
    found = strip(ASKED, shed(21.0, 0.4), outlook, hours, ahead=24 * HOUR, every=HOUR)
    window = max(found.windows, key=lambda one: one.last - one.first)
    assert found.starts.start[window.first] < hours[0].start
    best = found.starts.start[window.best]
    assert hours[0].start <= best < hours[0].end


def test_an_edge_counts_what_never_comes_as_late() -> None:
    """Of four paths on one of which it never comes: by hand."""
    after = np.array([[3.0, 1.0, np.nan, 2.0], [np.nan] * 4])
    for share, first in ((0.1, 1.0), (0.25, 2.0), (0.5, 3.0), (0.75, np.nan), (1.0, np.nan)):
        assert windows._edge(after, share) == pytest.approx(np.array([first, np.nan]), nan_ok=True)


def test_a_next_layer_fits_where_half_an_hour_is_left_in_window_and_working_hours() -> None:
    """Opens 10 min after the start and closes at 40, at 39, never; then hours that begin or end inside."""
    opens = np.full((1, 3), 10 * MINUTE)
    closes = np.array([[40 * MINUTE, 39 * MINUTE, np.nan]])
    seen = SimpleNamespace(start=np.array([NOW]), recoat_from=opens, laminate_before=closes)
    for begin, end, expected in (
        (0, 999, [True, False, True]),
        (11, 999, [False, False, True]),
        (0, 40, [True, False, True]),
        (0, 39, [False, False, False]),
    ):
        hours = (Span(NOW - 99 * HOUR, NOW - 90 * HOUR), Span(NOW + begin * MINUTE, NOW + end * MINUTE))
        assert windows._fits(seen, hours).tolist() == [expected]  # type: ignore[arg-type]


def test_a_start_is_within_hours_from_their_begin_until_before_their_end() -> None:
    """Somebody who leaves at five does not begin at five."""
    hours = (Span(NOW, NOW + HOUR), Span(NOW + 3 * HOUR, NOW + 4 * HOUR))
    starts = NOW + 0.5 * HOUR * np.arange(-1, 9)
    assert np.flatnonzero(windows._manned(starts, hours)).tolist() == [1, 2, 7, 8]


def test_what_a_start_gives_is_read_off_its_paths() -> None:
    """Of twenty: half, the early or the late tenth; a next layer only where the start itself holds."""
    after = 0.5 * HOUR * np.arange(20.0)[None]
    seen = SimpleNamespace(
        start=np.array([NOW]),
        recoat_from=after,
        laminate_before=after + 5 * HOUR,
        set=after + 10 * HOUR,
        firm=after + 20 * HOUR,
        ready_to_sand=after + 30 * HOUR,
    )
    hold = np.arange(20)[None] < 16
    found = windows._starts(seen, hold, (Span(NOW, NOW + 4 * HOUR),))  # type: ignore[arg-type]
    assert (found.probability[0], found.next_layer[0]) == pytest.approx((0.8, 0.4))
    hours = [(float(each[0]) - NOW) / HOUR for each in found[3:]]
    assert hours == [5.0, 6.0, 15.0, 29.0, 39.0]
    assert found.start[0] == NOW


def test_a_next_layer_is_timed_as_the_strip_times_it() -> None:
    """Of a start now, and of one in ten hours that is laid on what is then known."""
    situation, outlook = shed(), days(shed())
    starts = strip(ASKED, situation, outlook, ALWAYS, ahead=10 * HOUR).starts
    assert starts.start == pytest.approx(NOW + 900.0 * np.arange(41))
    for place in (0, 40):
        found = windows.next_layer(ASKED, situation, outlook, float(starts.start[place]))
        expected = [starts.laminate_from[place], starts.laminate_before[place]]
        assert [np.nan if each is None else each for each in found] == pytest.approx(
            expected, abs=60.0, nan_ok=True
        )


@pytest.mark.parametrize(
    ("ground", "warms"),
    [
        (None, [False, False, False]),
        (SimpleNamespace(breathes=False), [False, False, False]),
        (SimpleNamespace(breathes=True), [False, False, True]),
    ],
)
def test_a_face_that_warms_is_asked_of_what_breathes_alone(ground: object, warms: list[bool]) -> None:
    """On more than a fifth of the paths by more than its line; the line itself is no warming."""
    line = windows.WARMING.value
    question = SimpleNamespace(ground=ground, limits=SimpleNamespace(probability=SimpleNamespace(value=0.8)))
    much, some = np.full(10, line + 1.0), np.array([line] * 9 + [line + 1.0])
    few = np.where(np.arange(10) < 8, line, line + 1.0)
    seen = SimpleNamespace(start=np.arange(3.0), warming=np.stack([np.full(10, line), some, few]))
    assert windows._warms(question, seen).tolist() == warms  # type: ignore[arg-type]
    seen.warming[:] = much
    assert windows._warms(question, seen).all() == any(warms)  # type: ignore[arg-type]


def stripped(
    monkeypatch: pytest.MonkeyPatch, starts: Starts, face: Check | None = None, warms: object = False
) -> tuple[Strip, np.ndarray]:
    """A strip of these starts, with all that is reckoned replaced; and where every check holds."""
    held = list[np.ndarray]()

    def read_off(_seen: object, hold: np.ndarray, _working: object) -> Starts:
        held.append(hold)
        return starts

    there = SimpleNamespace(time=starts.start)
    monkeypatch.setattr(windows, "weather", lambda *_: there)
    monkeypatch.setattr(windows, "from_below", lambda there, *_: (there, 0))
    monkeypatch.setattr(windows, "course", lambda *_, **__: starts)
    monkeypatch.setattr(windows.checks, "lines", lambda *_: ())
    monkeypatch.setattr(windows.checks, "holds", lambda *_: np.ones((starts.start.size, 1), dtype=bool))
    monkeypatch.setattr(windows, "known_checks", lambda *_: (face,) if face else ())
    monkeypatch.setattr(windows, "_starts", read_off)
    monkeypatch.setattr(windows, "_limiting", lambda *_: ("of the paths",) * starts.start.size)
    monkeypatch.setattr(windows, "_warms", lambda *_: np.broadcast_to(warms, starts.start.shape))
    ground = Ground(FaceBelow.METAL)
    found = strip(replace(ASKED, ground=ground), shed(), days(shed()), (Span(NOW, NOW + 1800.0),))
    return found, held[0]


def some_starts(chance: list[float], later: list[float]) -> Starts:
    """A quarter of an hour apart; somebody is there at the first two."""
    nothing = np.full(len(chance), np.nan)
    return Starts(NOW + 900.0 * np.arange(len(chance)), np.array(chance), np.array(later), *([nothing] * 5))


@pytest.mark.parametrize(("steps", "expected"), [(9, [5, 8, 11]), (8, [5, 8])])
def test_starts_are_followed_where_two_steps_of_the_paths_are_left(
    monkeypatch: pytest.MonkeyPatch, steps: int, expected: list[int]
) -> None:
    """Every third step; what is warm below is that of the first, and its paths begin five earlier.

    Where nothing is said, a start each quarter of an hour for two days.
    """
    step, followed = windows.STEP, list[list[int]]()
    time = NOW + step * np.arange(float(steps))

    def course(_resin: object, _there: object, first: np.ndarray, **_: object) -> SimpleNamespace:
        followed.append(first.tolist())
        return SimpleNamespace(start=time[:3])

    monkeypatch.setattr(windows, "weather", lambda *_: SimpleNamespace(time=time))
    monkeypatch.setattr(windows, "from_below", lambda there, *_: (there, 5))
    monkeypatch.setattr(windows, "course", course)
    monkeypatch.setattr(windows.checks, "lines", lambda *_: ())
    monkeypatch.setattr(windows.checks, "holds", lambda *_: np.ones((3, 1), dtype=bool))
    monkeypatch.setattr(windows, "_starts", lambda *_: some_starts([0.9] * 3, [0.0] * 3))
    monkeypatch.setattr(windows, "_limiting", lambda *_: ("",) * 3)
    names = ("resin", "lots", "peroxide_percent", "limits")
    asked = SimpleNamespace(
        ground=None, buildup_at=lambda at: at, **{name: getattr(ASKED, name) for name in names}
    )
    found = strip(asked, shed(), days(shed()), ALWAYS, ahead=12 * step, every=3 * step)  # type: ignore[arg-type]
    assert followed == [expected]
    assert found.buildup == time[0]
    time = NOW + step * np.arange(1000.0)
    strip(asked, shed(), days(shed()), ALWAYS)  # type: ignore[arg-type]
    assert [step * (place - 5) / HOUR for place in followed[-1]] == [
        0.25 * each for each in range(4 * 48 + 1)
    ]


@pytest.mark.parametrize(
    ("status", "wrong"),
    [(Status.FAILS, True), (Status.UNKNOWN, True), (Status.CARE, False), (Status.HOLDS, False)],
)
def test_no_start_holds_on_a_face_that_is_wrong_or_unknown(
    monkeypatch: pytest.MonkeyPatch, status: Status, wrong: bool
) -> None:
    """And that is what limits every one."""
    face = Check("below", "Face", status, "")
    found, hold = stripped(monkeypatch, some_starts([0.9] * 4, [0.0] * 4), face)
    assert hold.any() != wrong
    assert found.limiting == ((reasons.trouble("below") if wrong else "of the paths"),) * 4
    assert found.below == (face,)


@pytest.mark.parametrize(
    ("chance", "later", "warms", "best"),
    [
        ([0.8] * 4, [0.0] * 4, [True, False, True, False], 1),
        ([0.8] * 4, [0.0, 0.0, 0.8, 0.8], False, 0),
        ([0.8, 0.8, 1.0, 1.0], [0.0, 0.0, 0.5, 0.4], [True, True, False, False], 2),
        ([0.8, 0.8, 1.0, 1.0], [0.0, 0.0, 0.0, 0.2], [True, True, False, False], 0),
    ],
)
def test_who_is_there_counts_for_two_and_a_face_that_warms_for_one_and_a_half_less(
    monkeypatch: pytest.MonkeyPatch,
    chance: list[float],
    later: list[float],
    warms: object,
    best: int,
) -> None:
    """Beside the chances of the start and of the next layer, of which each counts for one at most."""
    found, _ = stripped(monkeypatch, some_starts(chance, later), warms=warms)
    assert [one.best for one in found.windows] == [best]
    assert found.warms == frozenset(np.flatnonzero(np.broadcast_to(warms, 4)).tolist())


def test_the_hottest_of_a_layer_is_the_middle_of_its_paths(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of three."""
    laid = SimpleNamespace(own_peak=np.array([[330.0, 310.0, 320.0]]))
    monkeypatch.setattr(windows, "_laid_at", lambda *_: laid)
    assert windows.hottest(ASKED, shed(), days(shed()), NOW) == 320.0


def test_what_limits_a_start_is_the_trouble_on_most_paths() -> None:
    """By hand: of two checks and of coming to its set at all."""

    def line(name: str, *shares: float) -> SimpleNamespace:
        holds = np.array([np.arange(10) < 10 * share for share in shares])
        return SimpleNamespace(name=name, holds=lambda: holds)

    drawn = (line("condensation", 0.2, 0.9, 0.9), line("dry-enough", 0.5, 0.3, 0.9))
    seen = SimpleNamespace(set=np.array([[1.0] * 10, [1.0] * 10, [np.nan] * 6 + [1.0] * 4]))
    expected = tuple(reasons.trouble(name) for name in ("condensation", "dry-enough", "sets"))
    assert windows._limiting(seen, drawn) == expected  # type: ignore[arg-type]


def test_runs_begin_and_end_where_the_chance_is_what_is_needed() -> None:
    """By hand: two runs; the best is the likeliest, the next layer counted, and first of all who is there."""
    chance = np.array([0.9, 0.8, 0.79, 0.8, 0.85, 0.95, 0.2])
    later = np.array([0.0, 0.3, 0.9, 0.0, 0.3, 0.1, 0.0])
    nothing = np.full(7, np.nan)
    starts = Starts(NOW + HOUR * np.arange(7), chance, later, *([nothing] * 5))
    assert windows._runs(starts, 0.8, np.zeros(7)) == (GoWindow(0, 1, 1), GoWindow(3, 5, 4))
    there = np.array([2.0, 0.0, 0.0, 2.0, 0.0, 0.0, 0.0])
    assert [one.best for one in windows._runs(starts, 0.8, there)] == [0, 3]


def test_what_limits_is_named() -> None:
    """In a shed too damp throughout, dampness or the dew point is what is named."""
    damp = shed(18.0, 0.95)
    found = strip(ASKED, damp, days(damp, swing=1.0), ALWAYS)
    assert not found.windows
    assert set(found.limiting) <= {reasons.trouble("condensation"), reasons.trouble("dry-enough")}


def test_working_hours_follow_the_zone_and_its_clock_changes() -> None:
    """08:00 to 22:30 in Lisbon, over the night the clocks go back (25 October 2026)."""
    asked = configuration.parse('[shed]\nzone = "Europe/Lisbon"\n')
    begin = datetime(2026, 10, 24, 0, 0, tzinfo=ZoneInfo("Europe/Lisbon")).timestamp()
    spans = working_spans(asked, begin, begin + 49 * 3600)
    hours = [datetime.fromtimestamp(span.start, UTC).hour for span in spans]
    assert hours == [7, 8]
    assert all(span.end - span.start == 14.5 * 3600 for span in spans)


def test_working_hours_may_run_past_midnight_and_skip_days() -> None:
    """20:00 to 02:00 on Fridays only."""
    text = '[working_hours]\nstart = 20:00:00\nend = 02:00:00\ndays = ["fri"]\n'
    begin = datetime(2026, 11, 18, tzinfo=UTC).timestamp()
    (span,) = working_spans(configuration.parse(text), begin, begin + 7 * 86400)
    assert datetime.fromtimestamp(span.start, UTC) == datetime(2026, 11, 20, 20, tzinfo=UTC)
    assert span.end - span.start == 6 * 3600


# ---- the screen


def made() -> Strip:
    """Two days of starts with one window of an hour and a half, by hand."""
    start = NOW + 900.0 * np.arange(193)
    probability = np.full(193, 0.2)
    probability[8:20], probability[20:24] = 0.6, 0.6
    probability[10:16] = 0.9
    following = np.zeros(193)
    following[10:13] = 0.85
    starts = Starts(
        start,
        probability,
        following,
        start + 5 * 3600,
        start + 7 * 3600,
        start + 9 * 3600,
        start + 10 * 3600,
        start + 12 * 3600,
    )
    limiting = (reasons.trouble("condensation"),) * 193
    return Strip("epoxy-fast", "General-purpose epoxy", starts, limiting, (GoWindow(10, 15, 11),), 0.8)


STRIP = """\
NEXT WINDOW   epoxy-fast, start from 13:45 to 15:00

epoxy-fast: General-purpose epoxy
              00   01   02   03   04   05   06   07   08   09   10   11
  Wed 18 Nov                                                          ...
              12   13   14   15   16   17   18   19   20   21   22   23
  Wed 18 Nov  .... .~~G GGgg g~~~ ~~~~ ~... .... .... .... .... .... ....
"""


def test_the_strip_reads_as_agreed() -> None:
    """The answer, the hours, the signs of the first two half days."""
    shown = screen.lines(windows_document((made(),), NOW, "demo paths"), Wording(UTC), why=True)
    assert "\n".join([shown[0], *shown[4:10]]) + "\n" == STRIP
    row = next(line for line in shown if line.startswith("  1  "))
    assert row == "  1  13:45-15:00              14:00       9 in 10        19:00 - 21:00"
    assert max(len(line) for line in shown) <= 80


def test_a_recoat_window_that_may_close_before_it_opens_is_told_as_none() -> None:
    """In the answer, its table, the page and the calendar: no span ends before it begins."""
    starts = made().starts
    for minutes, sure in ((-10.0, False), (4.0, False), (10.0, True)):
        closes = starts.laminate_from + minutes * MINUTE
        one = replace(made(), starts=starts._replace(laminate_before=closes))
        answer = windows_document((one,), NOW, "demo paths")
        shown = " ".join(" ".join(screen.lines(answer, Wording(UTC), why=True)).split())
        page = str(pictures.strip(answer, Wording(UTC), NOW))
        assert ("19:00 - 19:10" in shown, "next layer 19:00 to 19:10" in shown) == (sure, sure)
        assert ("19:00 - none sure" in shown) is not sure
        for text in (shown, page):
            assert ("next layer from 19:00; no sure window: plan to abrade" in text) is not sure
        found = appointments(one, one.windows[0], Wording(UTC).time)
        assert len(found) == (4 if sure else 3)
        assert all(each.end is None or each.start < each.end for each in found)


def test_no_window_is_said_first_with_what_limits() -> None:
    """And how near the best start comes."""
    none = replace(made(), windows=(), needed=0.95)
    shown = screen.lines(windows_document((none,), NOW, "demo paths"), Wording(UTC))
    assert shown[0].startswith("NO WINDOW")
    assert "At best 9 in 10; you ask for 95 %." in " ".join(" ".join(shown).split())
    assert max(map(len, shown)) <= 80


def test_a_long_answer_stays_within_eighty_columns() -> None:
    """A resin of a long name, a window that begins and ends on another day, a clock of twelve hours."""
    late = replace(made(), resin="a-resin-of-thirty-letters-long", windows=(GoWindow(60, 120, 70),))
    shown = screen.lines(windows_document((late,), NOW, "demo paths"), Wording(UTC, twelve_hours=True))
    assert shown[0].startswith("NEXT WINDOW")
    assert max(map(len, shown)) <= 80


def test_json_carries_every_start_with_its_reason() -> None:
    """193 starts; a go has nothing that limits it."""
    plain = json.loads(as_json(windows_document((made(),), NOW, "demo")))
    (resin,) = plain["resins"]
    assert len(resin["starts"]) == 193
    assert resin["starts"][11]["limited_by"] is None
    assert resin["starts"][0]["limited_by"]
    assert resin["windows"][0]["best"].startswith("2026-11-18T14:00")


def test_the_calendar_of_a_window_has_its_countdowns() -> None:
    """Read back by an independent reader: the window, the next layer, the end of it, tack-free."""
    ((one, window),) = in_order((made(),))
    text = write(appointments(one, window, Wording(UTC).time), NOW)
    events = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert len(events) == 4
    closing = next(event for event in events if "closes" in event["SUMMARY"])
    assert closing["DTSTART"].dt == datetime.fromtimestamp(NOW + 11 * 900 + 7 * 3600, UTC)
    assert [alarm["TRIGGER"].dt.total_seconds() for alarm in closing.walk("VALARM")] == [-3600, -1800, -600]


def test_the_appointments_of_a_window_by_hand() -> None:
    """From its first start to a quarter of an hour after its last; the rest follows its best start."""
    ((one, window),) = in_order((made(),))
    best = NOW + 11 * 900.0
    opens, closes, done = (best + hours * HOUR for hours in (5, 7, 9))
    found = appointments(one, window, Wording(UTC).time)
    assert [(each.start, each.end, each.reminders) for each in found] == [
        (NOW + 10 * 900.0, NOW + 16 * 900.0, (60,)),
        (opens, closes, (10,)),
        (closes, None, (60, 30, 10)),
        (done, None, ()),
    ]
    never = np.full(193, np.nan)
    for bare, left in (
        ({"laminate_from": never}, [0, 3]),
        ({"laminate_before": never}, [0, 3]),
        ({"set": never}, [0, 1, 2]),
    ):
        fewer = appointments(replace(one, starts=one.starts._replace(**bare)), window, Wording(UTC).time)
        assert [each.summary for each in fewer] == [found[place].summary for place in left]


def test_windows_of_all_resins_come_in_their_order_of_time() -> None:
    """Not resin by resin."""
    one = made()
    other = replace(one, resin="epoxy-slow", windows=(GoWindow(2, 3, 2), GoWindow(30, 31, 30)))
    assert [(each.resin, window.first) for each, window in in_order((one, other))] == [
        ("epoxy-slow", 2),
        ("epoxy-fast", 10),
        ("epoxy-slow", 30),
    ]


# ---- the command


@pytest.fixture
def logged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "curewatch.toml"
    file.write_text('[shed]\nname = "Saltmarsh Shed"\n[logbook]\npath = "logbook.sqlite"\n')
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    now = SystemClock().now().utc - 20
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for minutes in range(120, -1, -5):
            at = now - 60.0 * minutes
            logbook.append(
                [
                    Reading("bench", at, at, 295.15 + 0.01 * (minutes % 7), 0.35),
                    Reading("hull", at, at, 295.0 + 0.01 * (minutes % 3)),
                ]
            )
    return tmp_path


def called(*arguments: str) -> int:
    with pytest.raises(SystemExit) as stop:
        run(["windows", *arguments])
    return int(stop.value.code or 0)


def test_the_command_answers_and_writes_a_calendar(logged: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 0 with a window; the file is a calendar."""
    file = logged / "window.ics"
    assert called("--resin", "epoxy-fast", "--calendar", str(file)) == 0
    assert capsys.readouterr().out.startswith("NEXT WINDOW")
    assert icalendar.Calendar.from_ical(file.read_bytes()).walk("VEVENT")
    assert b"\r\n" in file.read_bytes()


@pytest.mark.long
def test_a_window_that_is_not_there_writes_nothing(logged: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A usage error that says how many there are."""
    file = logged / "window.ics"
    assert called("--resin", "epoxy-fast", "--calendar", str(file), "--window", "99") == 2
    assert not file.exists()
    assert "--window 99" in capsys.readouterr().err


def test_without_readings_windows_are_unknown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit status 4, in words and as JSON."""
    file = tmp_path / "curewatch.toml"
    file.write_text('[logbook]\npath = "none.sqlite"\n')
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    assert called() == 4
    assert capsys.readouterr().out.startswith("UNKNOWN")
    assert called("--json") == 4
    assert json.loads(capsys.readouterr().out)["verdict"] == "unknown"


def test_a_shed_colder_than_any_cure_law_is_unknown_not_an_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """At 45 degC below zero some path leaves the law: exit status 4, and layup still gives its amounts."""
    file = tmp_path / "curewatch.toml"
    file.write_text('[logbook]\npath = "logbook.sqlite"\n')
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    now = SystemClock().now().utc - 20
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for minutes in range(120, -1, -5):
            at, kelvin = now - 60.0 * minutes, 228.15 + 0.01 * (minutes % 7)
            logbook.append([Reading("bench", at, at, kelvin, 0.7), Reading("hull", at, at, kelvin + 0.1)])
    assert called() == 4
    assert capsys.readouterr().out.startswith("UNKNOWN")
    with pytest.raises(SystemExit) as stop:
        run(["layup", "round", "--length", "80", "--thickness", "6"])
    assert stop.value.code == 4
    assert capsys.readouterr().out.startswith("UNKNOWN WHEN")


def test_the_outlook_that_windows_ask_for_is_long_enough() -> None:
    """Every start can be followed for two days."""
    outlook = coming_hours(shed(), load_substrate("plywood"), length=LENGTH)
    assert outlook is not None
    assert outlook.time[-1] - NOW >= 48 * 3600 + 48 * 3600
