"""Readings that cannot be trusted never lead to a go."""

import json
import math

import pytest

from curewatch.advice.judge import limits as lines
from curewatch.advice.judge.answer import Advice, Status, Verdict
from curewatch.advice.judge.data_quality import freshness, remedies, troubles
from curewatch.advice.judge.situation import WHAT_TO_DO, Place, Situation, Trouble, TroubleKind
from curewatch.advice.judge.situation import place as place_of
from curewatch.answers.document import as_json
from curewatch.answers.tonight import at_border, tonight_document
from curewatch.errors import ConfigurationError, ExitStatus
from curewatch.readings import Reading
from curewatch.wording import plain_wording

NOW = 1_795_000_000.0


def place(
    role: str, *, age: float = 60.0, temperature: float | None = 288.15, vapour: float | None = 900.0
) -> Place:
    return Place(
        sensor={"air": "bench", "surface": "hull", "outside": "yard"}[role],
        role=role,
        time=NOW - age,
        temperature=temperature,
        temperature_sd=0.3,
        relative_humidity=None if vapour is None else 0.5,
        relative_humidity_sd=0.02,
        vapour_pressure=vapour,
        vapour_pressure_sd=20.0,
    )


def test_a_reading_becomes_a_place_with_its_vapour_pressure_and_error() -> None:
    """20 degC, 50 %: half of 2339 Pa (ASHRAE table); errors of 0.3 K and 2 % by hand are 22 and 47 Pa."""
    reading = Reading("bench", NOW - 5, NOW, 293.15, 0.50)
    seen = place_of(reading, "air", 0.3, 0.02)
    assert seen.vapour_pressure == pytest.approx(1169.5, abs=1.0)
    assert seen.vapour_pressure_sd == pytest.approx(math.hypot(0.5 * 144.8 * 0.3, 2339 * 0.02), rel=0.01)
    assert place_of(Reading("bench", NOW, NOW, 293.15, 0.0), "air", 0.3, 0.02).vapour_pressure is None
    assert place_of(Reading("hull", NOW, NOW, 283.15), "surface", 0.3).vapour_pressure is None


def kinds(situation: Situation) -> set[tuple[str, TroubleKind]]:
    return {(trouble.sensor, trouble.kind) for trouble in troubles(situation, lines.standard())}


def test_two_fresh_whole_readings_are_no_trouble() -> None:
    """Air and surface, a minute old, leave nothing to doubt."""
    situation = Situation(NOW, air=place("air"), surface=place("surface", vapour=None))
    assert kinds(situation) == set()
    assert {check.status for check in freshness(situation, lines.standard())} == {Status.HOLDS}


@pytest.mark.parametrize(
    ("situation", "expected"),
    [
        (Situation(NOW), {("air", TroubleKind.NO_READING)}),
        (Situation(NOW, air=place("air", age=16 * 60)), {("bench", TroubleKind.STALE)}),
        (Situation(NOW, air=place("air", age=-120)), {("bench", TroubleKind.CLOCK)}),
        (Situation(NOW, air=place("air", vapour=None)), {("bench", TroubleKind.INCOMPLETE)}),
        (
            Situation(NOW, air=place("air"), surface=place("surface", temperature=None)),
            {("hull", TroubleKind.INCOMPLETE)},
        ),
        (
            Situation(
                NOW,
                air=place("air"),
                troubles=(Trouble(TroubleKind.SILENT, "nothing for 41 min", "hull", "surface"),),
            ),
            {("hull", TroubleKind.SILENT)},
        ),
    ],
)
def test_each_kind_of_doubt_is_named_and_gives_an_unknown_check(
    situation: Situation, expected: set[tuple[str, TroubleKind]]
) -> None:
    """Never, stale, from the future, incomplete, one of two silent: each is its own trouble."""
    assert kinds(situation) == expected
    unknown = [check for check in freshness(situation, lines.standard()) if check.status is Status.UNKNOWN]
    assert len(unknown) == len(expected)
    assert len(remedies(situation, lines.standard())) == len(expected)


def test_two_sensors_that_were_exchanged_are_asked_for() -> None:
    """The probe stands for the air and the chip for the surface: no other sensor is needed."""
    air, chip = place("air", vapour=None), place("surface")
    [told] = remedies(Situation(NOW, air=air, surface=chip), lines.standard())
    assert told == (
        "bench: hull reports humidity: are the two exchanged? Then exchange their ports, or their roles"
    )
    [usual] = remedies(Situation(NOW, air=air, surface=place("surface", vapour=None)), lines.standard())
    assert usual == f"bench: {WHAT_TO_DO[TroubleKind.INCOMPLETE]}"


def test_a_silent_sensor_is_not_also_called_stale() -> None:
    """One fault is said once, by its best name."""
    told = Trouble(TroubleKind.SILENT, "nothing for 41 min", "bench", "air", NOW - 2460)
    assert kinds(Situation(NOW, air=place("air", age=2460), troubles=(told,))) == {
        ("bench", TroubleKind.SILENT)
    }


def test_every_kind_of_trouble_says_what_to_do() -> None:
    """No trouble without a remedy."""
    assert set(WHAT_TO_DO) == set(TroubleKind)


def test_a_user_s_own_limit_is_used_and_says_what_it_replaces() -> None:
    """An own margin of 2 K is 2 K, is marked as the user's own and names the published one."""
    own = lines.with_own(lines.standard(), {"condensation_margin_k": 2.0, "humidity_highest_percent": 80})
    assert own.condensation_margin.value == 2.0
    assert own.condensation_margin.tag == "user's own"
    assert "ISO 8502-4" in own.condensation_margin.replaces
    assert own.humidity_highest.value == pytest.approx(0.80)
    assert own.reading_age == lines.standard().reading_age


@pytest.mark.parametrize("own", [{"condensation_margin_k": 99.0}, {"humidity": 80.0}])
def test_a_limit_that_makes_no_sense_is_refused_by_name(own: dict[str, float]) -> None:
    """A wrong key or a wild value names the key and what is allowed."""
    with pytest.raises(ConfigurationError, match="Use"):
        lines.with_own(lines.standard(), own)


def test_the_three_verdicts_have_the_documented_exit_statuses() -> None:
    """Go 0, no-go 3, unknown 4."""
    assert [int(verdict.exit_status) for verdict in Verdict] == [0, 3, 4]
    assert Verdict.UNKNOWN.exit_status is ExitStatus.UNKNOWN


def test_plain_advice_is_json_with_border_units() -> None:
    """Kelvin become degrees, fractions per cent, what is not finite becomes null."""
    checks = freshness(Situation(NOW, air=place("air", age=90)), lines.standard())
    advice = Advice(Verdict.UNKNOWN, "unknown", NOW, NOW, "epoxy-slow", "Epoxy", checks=checks)
    assert json.loads(as_json(tonight_document(advice, plain_wording())))["checks"][0]["value"] == 1.5
    assert at_border("temperature", 288.15) == 15.0
    assert at_border("temperature", 1.25, span=True) == 1.25
    assert at_border("fraction", float("nan")) is None
