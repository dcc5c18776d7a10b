"""A timber primer is a step of its own: told, rung for when it is tacky, ended by the laminate, recorded."""

import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest

from curewatch.advice.alert import alerts
from curewatch.advice.alert.alerts import AlertKind, Happening, Key
from curewatch.advice.alert.primer import marks, primed
from curewatch.advice.alert.watchers import next_mark
from curewatch.cli.main import run
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.shed import primer_log
from curewatch.units import HOUR, MINUTE

NOW = 1_795_000_000.0


@pytest.fixture
def logbook(tmp_path: Path) -> Iterator[Logbook]:
    """A primer on the cheek, told at NOW: tacky after 20 minutes, for two hours."""
    payload = {"primer": "P1", "part": "cheek", "tacky_after": 20 * MINUTE, "open_for": 2 * HOUR}
    with Logbook(tmp_path / "log.sqlite") as book:
        book.write(Entry(EntryKind.PRIMER, payload, NOW, job="J1"))
        yield book


def laid(book: Logbook, at: float, *, job: str = "J1", part: str = "cheek") -> None:
    book.write(Entry(EntryKind.LAYER, {"layer": "L1", "part": part}, at, job=job))


@pytest.mark.parametrize(
    ("minutes", "raised", "meaning"),
    [
        (0, False, "tacky"),
        (19, False, "tacky"),
        (20, True, "tacky"),
        (119, True, "tacky"),
        (120, True, "past"),
    ],
)
def test_it_rings_when_it_is_tacky_and_says_when_it_is_past(
    minutes: float, raised: bool, meaning: str, logbook: Logbook
) -> None:
    """At its limit, just before and after; job and part are named, and the deadline is that of its sheet."""
    now = NOW + minutes * MINUTE
    (signal,) = primed(primer_log.waiting(logbook, now), now, {})
    assert (signal.raised, signal.meaning) == (raised, meaning)
    assert "J1 cheek" in str(signal.text.numbers if hasattr(signal.text, "numbers") else signal.text)
    assert signal.due == (NOW + 2 * HOUR if meaning == "tacky" else None)


def test_the_daemon_looks_at_its_marks(logbook: Logbook) -> None:
    """When it becomes tacky, and when it no longer is: not up to a quarter of an hour later."""
    coats = primer_log.waiting(logbook, NOW)
    assert next_mark((), NOW, None, *marks(coats)) == NOW + 20 * MINUTE
    assert next_mark((), NOW + HOUR, *marks(coats)) == NOW + 2 * HOUR
    assert next_mark((), NOW + 3 * HOUR, *marks(coats)) is None


def test_the_laminate_ends_it(logbook: Logbook) -> None:
    """The layer of its job and part ends it; one of another job or part, or one before it, does not."""
    now = NOW + 30 * MINUTE
    laid(logbook, NOW - HOUR)
    laid(logbook, NOW + 25 * MINUTE, part="keel")
    laid(logbook, NOW + 25 * MINUTE, job="J2")
    coats = primer_log.waiting(logbook, now)
    assert [coat.name for coat in coats] == ["P1"]
    active, events = alerts.step({}, tuple(primed(coats, now, {})), now)
    assert [event.happening for event in events] == [Happening.RAISED]
    laid(logbook, NOW + 28 * MINUTE)
    assert primer_log.waiting(logbook, now) == ()
    _, events = alerts.step(active, tuple(primed((), now, active)), now)
    assert [event.happening for event in events] == [Happening.CLEARED]
    assert events[0].key == Key(AlertKind.PRIMER, "P1")


def test_nothing_is_said_of_a_primer_of_yesterday(logbook: Logbook) -> None:
    """Twelve hours after, whoever primed it knows."""
    assert primer_log.waiting(logbook, NOW + 12 * HOUR + 1) == ()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ("--tacky-after 0min", "1 min to 12 h"),
        ("--tacky-after 20h", "1 min to 12 h"),
        ("--open-for 10min", "found less than"),
        ("--tacky-after soon", "span of time"),
    ],
)
def test_a_time_that_no_primer_takes_is_refused(
    options: str,
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """In one line; with the usual time it is kept, named and shown."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "curewatch.toml").write_text('[logbook]\npath = "log.sqlite"\n')

    def typed(line: str) -> tuple[int, str]:
        with pytest.raises(SystemExit) as end:
            run(shlex.split(line))
        out, err = capsys.readouterr()
        return int(end.value.code or 0), out + err

    typed('job open --title "new rudder cheek"')
    status, complaint = typed(f"job primer {options}")
    assert status == 2
    assert said in complaint
    status, kept = typed('job primer --part "rudder cheek" --product "demo primer"')
    assert status == 0
    assert "timber primer P1" in kept
    assert "20 min" in kept
