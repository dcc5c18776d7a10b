"""The evening's screen as a person reads it, at 80 columns."""

from dataclasses import replace
from datetime import UTC

import pytest

from curewatch.advice.judge.answer import Advice, Check, Moment, Status, Verdict
from curewatch.advice.judge.limits import Limit, standard, with_own
from curewatch.answers.tonight import tonight_document
from curewatch.cli.screens import tonight
from curewatch.wording import Wording

NOW = 1_795_000_000.0  # Wed 18 Nov 2026 11:06:40 UTC
LINES = standard()
SHEET = Limit(283.15, "temperature", "common practice", "epoxy-slow: as sheets of its kind state")

NO_GO = Advice(
    Verdict.NO_GO,
    "surface too near the dew point before it sets",
    at=NOW,
    start=NOW,
    resin="epoxy-slow",
    resin_title="General-purpose epoxy, slow hardener",
    probability=0.41,
    blush="peel ply",
    checks=(
        Check(
            "reading-air",
            "air reading is fresh",
            Status.HOLDS,
            "duration",
            40.0,
            LINES.reading_age,
            "at most",
            spare=860.0,
            age=40.0,
            sensor="bench",
        ),
        Check(
            "condensation-now",
            "surface above dew point, now",
            Status.HOLDS,
            "difference",
            5.2,
            LINES.condensation_margin,
            error=0.6,
            error_multiple=1.0,
            spare=1.6,
            age=40.0,
            sensor="hull + bench",
        ),
        Check(
            "condensation",
            "surface above dew point, until set",
            Status.FAILS,
            "difference",
            1.8,
            LINES.condensation_margin,
            error=0.6,
            error_multiple=1.0,
            spare=-1.8,
            probability=0.41,
        ),
        Check(
            "warm-enough",
            "warm enough, until set",
            Status.HOLDS,
            "temperature",
            285.35,
            SHEET,
            error=0.3,
            error_multiple=1.0,
            spare=1.9,
            probability=0.97,
        ),
        Check(
            "blush",
            "amine blush, until set",
            Status.CARE,
            "duration",
            20000.0,
            Limit(10800.0, "duration", "assumed", "epoxy-slow: hours at 20 degC in saturated air"),
            "at most",
            spare=-9200.0,
            probability=0.3,
            reason="peel ply needed: blush is likely",
        ),
    ),
    timeline=(
        Moment("working-time", "working time ends", NOW + 3000, NOW + 3600, NOW + 4500),
        Moment("tack-free", "tack-free", NOW + 40000, NOW + 60000, None, 0.85),
    ),
    basis="nothing recorded yet: assumed to stay as it is, with the spread of outdoor weather",
    cautions=(
        "The makers' sheets and local rules come first; structural or classed work: a surveyor's matter.",
    ),
)

GOLDEN = """\
NO-GO   epoxy-slow, start 11:06 (now)                             Saltmarsh Shed
  surface too near the dew point before it sets: 1.8 K, less 0.6 K sensor error;
    wanted at least 3.0 K.
  All checks hold on 41 % of the paths of the coming hours.

Cautions
  The makers' sheets and local rules come first; structural or classed work: a
    surveyor's matter.

Checks                                           found  limit          spare
  ok    air reading is fresh                      40 s  <= 15 min    +14 min   a
        bench
  ok    surface above dew point, now             5.2 K  >= 3.0 K      +1.6 K   b
        less 0.6 K sensor error (1 sigma); hull + bench, 40 s old
  FAILS surface above dew point, until set       1.8 K  >= 3.0 K      -1.8 K   b
        less 0.6 K sensor error (1 sigma); holds on 41 % of paths
  ok    warm enough, until set                 12.2 °C  >= 10.0 °C    +1.9 K   c
        less 0.3 K sensor error (1 sigma); holds on 97 % of paths
  CARE  amine blush, until set                   5.6 h  <= 3.0 h      -2.6 h   d
        holds on 30 % of paths; peel ply needed: blush is likely

Times (four in five between early and late)
                                           early         likely           late
  working time ends                        11:56          12:06          12:21
  tack-free                                22:13      Thu 03:46   not foreseen

The coming hours
  nothing recorded yet: assumed to stay as it is, with the spread of outdoor
    weather

Where the limits come from
  a  assumed: a closed shed moves about 0.5 K in this time
  b  published: ISO 8502-4 practice, quoted second-hand
  c  common practice: epoxy-slow: as sheets of its kind state
  d  assumed: epoxy-slow: hours at 20 degC in saturated air
"""


def shown(advice: Advice, wording: Wording | None = None, place: str = "Saltmarsh Shed") -> str:
    return (
        "\n".join(tonight.lines(tonight_document(advice, Wording(UTC)), wording or Wording(UTC), place))
        + "\n"
    )


def test_the_screen_reads_as_agreed() -> None:
    """The whole no-go screen, line by line."""
    assert shown(NO_GO) == GOLDEN


def test_the_answer_stands_first_and_the_reason_second() -> None:
    """From two metres, the first word is the answer."""
    for verdict, word in ((Verdict.GO, "GO "), (Verdict.NO_GO, "NO-GO "), (Verdict.UNKNOWN, "UNKNOWN ")):
        assert shown(replace(NO_GO, verdict=verdict)).startswith(word)


@pytest.mark.parametrize("wording", [Wording(UTC), Wording(UTC, fahrenheit=True, twelve_hours=True)])
def test_no_line_is_wider_than_eighty_columns(wording: Wording) -> None:
    """In every wording, with a long sensor name, a long resin name and a long place."""
    long = replace(
        NO_GO,
        resin="a-resin-with-a-very-long-name-indeed-of-sixty-characters-or-more",
        checks=tuple(replace(check, sensor="s" * 90) for check in NO_GO.checks),
    )
    assert max(len(line) for line in shown(long, wording, "p" * 60).splitlines()) <= 80


def test_what_came_from_outside_cannot_act_on_the_terminal() -> None:
    """A sensor that calls itself an escape sequence is shown as text."""
    evil = replace(NO_GO, checks=(replace(NO_GO.checks[1], sensor="\x1b[2Jgo\n"),))
    assert "\x1b" not in shown(evil)


def test_a_user_s_own_limit_says_what_it_replaces() -> None:
    """Shown as the user's own."""
    own = with_own(LINES, {"condensation_margin_k": 2.0}).condensation_margin
    text = shown(replace(NO_GO, checks=(replace(NO_GO.checks[2], limit=own),)))
    assert "user's own" in text
    assert "instead of published" in " ".join(text.split())
