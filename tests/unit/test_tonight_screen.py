"""The evening's screen as a person reads it, at 80 columns."""

from datetime import UTC

import pytest
from msgspec.structs import replace

from curewatch.advice.judge import cautions, reasons
from curewatch.advice.judge.answer import Advice, Check, Lever, Moment, Status, Verdict
from curewatch.advice.judge.limits import Limit, standard, with_own
from curewatch.advice.remedy import levers, steps
from curewatch.answers.tonight import tonight_document
from curewatch.cli.screens import tonight
from curewatch.cli.screens.lines import LineGroup, fitting
from curewatch.materials.chemistry import EPOXY, POLYESTER
from curewatch.wording import Wording

NOW = 1_795_000_000.0  # Wed 18 Nov 2026 11:06:40 UTC
LINES = standard()
SHEET = Limit(283.15, "temperature", "common practice", "epoxy-slow: as sheets of its kind state")

CONDENSATION = Check(
    "condensation",
    "surface above dew point, until set",
    Status.FAILS,
    "difference",
    1.8,
    LINES.condensation_margin,
    error=0.6,
    spare=-1.8,
    probability=0.41,
)

NO_GO = Advice(
    Verdict.NO_GO,
    reasons.why(CONDENSATION),
    at=NOW,
    start=NOW,
    resin="epoxy-slow",
    resin_title="General-purpose epoxy, slow hardener",
    probability=0.41,
    wanted=0.8,
    blush="peel-ply",
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
            spare=1.6,
            age=40.0,
            sensor="hull + bench",
        ),
        CONDENSATION,
        Check(
            "warm-enough",
            "warm enough, until set",
            Status.HOLDS,
            "temperature",
            285.35,
            SHEET,
            error=0.3,
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
            reason="Blush is likely before it sets: lay peel ply",
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
NO-GO   epoxy-slow, start now                                     Saltmarsh Shed
  The surface may sweat before it sets: 1.2 °C above the dew point at worst,
    needs 3.0 °C. Chance: 4 in 10; you ask for 8 in 10.
  Reasons: --why

Cautions
  The makers' sheets and local rules come first; structural or classed work: a
    surveyor's matter.

Checks                                           found  limit          spare
  ok    air reading is fresh                      40 s  <= 15 min    +14 min   a
        bench
  ok    surface above dew point, now            4.6 °C  >= 3.0 °C    +1.6 °C   b
        0.6 °C allowed for sensor error; hull + bench, 40 s old
  FAILS surface above dew point, until set      1.2 °C  >= 3.0 °C    −1.8 °C   b
        0.6 °C allowed for sensor error; chance that it holds: 4 in 10
  ok    warm enough, until set                 11.9 °C  >= 10.0 °C   +1.9 °C   c
        0.3 °C allowed for sensor error; chance that it holds: 9 in 10
  CARE  amine blush, until set                   5.6 h  <= 3.0 h      −2.6 h   d
        chance that it holds: 3 in 10; Blush is likely before it sets: lay peel
          ply

Times (8 in 10 lie between early and late)
                                           early         likely           late
  working time ends                        11:55          12:05          12:25
  tack-free                                22:10      Thu 03:45   not foreseen

Forecast used
  nothing recorded yet: assumed to stay as it is, with the spread of outdoor
    weather

Where the limits come from
  a  assumed: a closed shed moves about 0.5 °C in this time
  b  published: ISO 8502-4 practice
  c  usual: epoxy-slow: as sheets of its kind state
  d  assumed: epoxy-slow: hours at 20 °C in saturated air
"""


def shown(
    advice: Advice, wording: Wording | None = None, place: str = "Saltmarsh Shed", *, why: bool = True
) -> str:
    return (
        "\n".join(
            tonight.lines(tonight_document(advice, Wording(UTC)), wording or Wording(UTC), place, why=why)
        )
        + "\n"
    )


def test_the_screen_reads_as_agreed() -> None:
    """The whole no-go screen, line by line."""
    assert shown(NO_GO) == GOLDEN


def test_the_answer_stands_first_and_the_reason_second() -> None:
    """From two metres, the first word is the answer."""
    for verdict, word in ((Verdict.GO, "GO "), (Verdict.NO_GO, "NO-GO "), (Verdict.UNKNOWN, "UNKNOWN ")):
        assert shown(replace(NO_GO, verdict=verdict)).startswith(word)


def test_a_chance_is_said_of_a_no_go_only_where_it_is_too_small() -> None:
    """Beside a face that fails on every path, "almost certain" would read as the chance of the failure."""
    for probability, said in ((1.0, False), (0.8, False), (0.41, True)):
        text = shown(replace(NO_GO, probability=probability), why=False)
        assert ("Chance: " in text, "you ask for 8 in 10" in text) == (said, said)


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


WORST = replace(
    NO_GO,
    resin="r" * 40,
    needed_besides=(levers.PEEL_PLY,),
    peroxide_percent=1.5,
    peroxide_assumed=True,
    cautions=cautions.for_layup(POLYESTER, pot_overheats=True),
    levers=tuple(
        Lever(
            "warm",
            NOW + 3600 * hour,
            1.0,
            0.85,
            291.0,
            switch_off=NOW + 90000,
            warning=cautions.for_heating(POLYESTER),
            besides=Lever("dry", NOW, 1.0, target=0.6, switch_off=NOW + 90000, warning=cautions.DRY_STYRENE),
        )
        for hour in range(4)
    ),
)
GO = replace(
    WORST,
    verdict=Verdict.GO,
    headline="Fit until it sets. Blush is almost certain: lay peel ply, or wash and abrade after",
    checks=tuple(replace(check, status=Status.HOLDS) for check in NO_GO.checks),
    timeline=tuple(
        Moment(name, name, NOW + 3000 * at, NOW + 3600 * at, NOW + 5000 * at)
        for at, name in enumerate(("use-up", "working-time", "laminate-from", "laminate-before", "gel"), 1)
    ),
)
UNKNOWN = replace(NO_GO, verdict=Verdict.UNKNOWN, remedies=tuple(f"s{at}: look at it" for at in range(300)))


@pytest.mark.parametrize("advice", [NO_GO, WORST, GO, UNKNOWN], ids=["no-go", "worst", "go", "unknown"])
@pytest.mark.parametrize(
    "wording", [Wording(UTC), Wording(UTC, fahrenheit=True, ounces=True, twelve_hours=True)]
)
def test_the_first_screen_is_ten_lines_and_never_drops_its_caution(advice: Advice, wording: Wording) -> None:
    """With the longest cautions, names and ways; the caution stands before the step, whole."""
    said = shown(advice, wording, why=False)
    assert len(said.splitlines()) <= 10
    assert max(len(line) for line in said.splitlines()) <= 80
    whole = " ".join(said.split())
    caution = steps.caution(advice)
    assert caution in whole
    assert bool(caution) == (advice in (WORST, GO))
    if caution:
        step = "One of these turns the answer" if advice is WORST else "Do now"
        assert whole.index(caution) < whole.index(step)


def test_a_go_shows_its_next_times_and_what_to_watch() -> None:
    """Deadlines by their early end; the window to laminate again in one line."""
    said = shown(replace(GO, cautions=cautions.for_layup(EPOXY)), why=False).splitlines()
    assert "use the batch up      before 11:55" in said[-4]
    assert "working time ends     before 12:45" in said[-3]
    assert "laminate again        from 14:05, before" in said[-2]
    assert said[-1].startswith("  Watch the surface near the dew point (holds: 4 in 10).")


def test_a_smaller_batch_beside_another_trouble_is_no_way_out_alone() -> None:
    """It goes with what turns the other; where nothing does, the answer is to wait."""
    batch = Check("batch", "batch", Status.FAILS, "duration", reason="mix less")
    both = replace(NO_GO, checks=(*NO_GO.checks, batch), remedies=("Wait.",))
    smaller, warm = Lever("batch", NOW, 0.5, target=0.1), Lever("surface", NOW, 1.0, 0.9, 4.0)
    assert steps.do_now(replace(both, levers=(smaller,))) == ("Wait.",)
    (step,) = steps.do_now(replace(both, levers=(smaller, warm)))
    said = Wording(UTC).say(step)
    assert said.startswith("Warm the surface by 4.0 °C ")
    assert said.endswith(", and mix at most 100 g at a time (9 in 10)")


def test_a_line_that_still_fits_is_not_left_out_with_a_longer_one() -> None:
    """Of ten lines nine are needed: the two of a primer go, "not measured" stays; order is kept."""
    head, primer, moisture, last = ["head"] * 8, ["prime", "first"], ["not measured"], ["why"]
    groups = [LineGroup(head, 0), LineGroup(primer, 2), LineGroup(moisture, 2), LineGroup(last, 1)]
    assert fitting(groups, 10) == [*head, *moisture, *last]
    assert fitting(groups, 12) == [*head, *primer, *moisture, *last]
    assert fitting(groups, 9) == [*head, *last]
    assert fitting([LineGroup(head, 0), *groups[1:]], 5) == head
