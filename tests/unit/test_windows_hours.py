"""The hours above the strip of coming starts are said as the person's clock says them."""

from zoneinfo import ZoneInfo

import numpy as np

from curewatch.advice.plan.windows import EVERY, GoWindow, Starts, Strip
from curewatch.answers.windows import windows_document
from curewatch.cli.screens import windows as screen
from curewatch.wording import Wording

BEGIN = 1_792_261_800.0  # UTC [s]: Saturday 17 October 2026, 19:30 in the shed
LISBON = ZoneInfo("Europe/Lisbon")


def shown(words: Wording) -> list[str]:
    """A day of starts, all of them a go."""
    start = BEGIN + EVERY * np.arange(96.0)
    sure = np.ones(96)
    starts = Starts(
        start, sure, sure, start + 3600.0, start + 7200.0, start + 9000.0, start + 9600.0, start + 9900.0
    )
    strip = Strip("epoxy-slow", "", starts, ("",) * 96, (GoWindow(0, 95, 0),), 0.8)
    return screen.lines(windows_document((strip,), BEGIN, "nothing"), words, why=True)


def test_a_twelve_hour_clock_has_noon_and_midnight() -> None:
    """Half a day a row: 12pm 1pm ... 11pm, then 12am; the signs stand under their hours."""
    rows = shown(Wording(LISBON, twelve_hours=True))
    evening = next(index for index, row in enumerate(rows) if "12pm 1pm" in row)
    assert rows[evening].split()[-1] == "11pm"
    assert rows[evening + 1].index("G") == rows[evening].index("7pm") + 2
    assert "12am 1am" in rows[evening + 2]
    assert not any("  23" in row for row in rows)


def test_a_day_clock_counts_to_twenty_three() -> None:
    """The same without am and pm."""
    rows = shown(Wording(LISBON))
    assert any(row.split()[:2] == ["12", "13"] for row in rows)
    assert not any("pm" in row for row in rows)


def test_a_window_of_one_start_is_one_moment() -> None:
    """'10:30 to 10:30' is no span."""
    words = Wording(LISBON)
    assert words.span(BEGIN, BEGIN, BEGIN) == "19:30"
    assert words.span(BEGIN, BEGIN + 900.0, BEGIN) == "19:30 to 19:45"
