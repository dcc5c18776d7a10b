"""The coming windows agree with the verdict on each start, and read at a glance."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import icalendar
import numpy as np
import pytest

from curewatch import configuration
from curewatch.advice.judge import checks, limits
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Place, Surfaced
from curewatch.advice.judge.verdict import assess
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
from curewatch.logbook import Logbook
from curewatch.materials import load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.model.air.outlook import Outlook
from curewatch.physics import moist_air
from curewatch.readings import Reading
from curewatch.shed.consult import working_spans
from curewatch.shed.look import coming_hours
from curewatch.units import HOUR
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
        said = assess(situation, FAST, ASKED.limits, outlook, start)
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


def test_what_limits_is_named() -> None:
    """In a shed too damp throughout, dampness or the dew point is what is named."""
    damp = shed(18.0, 0.95)
    found = strip(ASKED, damp, days(damp, swing=1.0), ALWAYS)
    assert not found.windows
    assert set(found.limiting) <= {checks.trouble("condensation"), checks.trouble("dry-enough")}


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
    starts = Starts(start, probability, following, start + 5 * 3600, start + 7 * 3600, start + 9 * 3600)
    limiting = ("surface too near the dew point before it sets",) * 193
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
    shown = screen.lines(windows_document((made(),), NOW, "demo paths"), Wording(UTC))
    assert "\n".join(shown[:7]) + "\n" == STRIP
    row = next(line for line in shown if line.startswith("  1  "))
    assert row == "  1  13:45-15:00              14:00         90 % 19:00 - 21:00"
    assert max(len(line) for line in shown) <= 80


def test_no_window_is_said_first_with_what_limits() -> None:
    """And how near the best start comes."""
    none = replace(made(), windows=(), needed=0.95)
    shown = screen.lines(windows_document((none,), NOW, "demo paths"), Wording(UTC))
    assert shown[0].startswith("NO WINDOW")
    assert "at best 90 % of paths hold" in " ".join(" ".join(shown).split())
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
