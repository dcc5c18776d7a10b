"""Sentences with their numbers left open, and how two readers hear the same one."""

import json
from datetime import UTC
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as some

from curewatch.clock import utc_from_iso
from curewatch.phrases import Phrase, phrase, recalled
from curewatch.wording import Wording, counted, kept, plain_wording

EVENING = utc_from_iso("2026-11-25T21:40:00Z")
AMERICAN = Wording(ZoneInfo("America/Halifax"), fahrenheit=True, ounces=True, twelve_hours=True)


def test_each_reader_hears_the_same_sentence_in_their_own_units() -> None:
    """Kelvin, degrees Celsius and 24 hours for one; Fahrenheit, ounces and a 12-hour clock for another."""
    said = phrase(
        "{mass:mass} at {warm:temperature}, {margin:difference} above, until {until:moment}",
        mass=0.15,
        warm=283.15,
        margin=3.0,
        until=EVENING,
    )
    assert plain_wording(UTC).say(said, EVENING) == "150 g at 10.0 °C, 3.0 °C above, until 21:40"
    assert AMERICAN.say(said, EVENING) == "5.29 oz at 50.0 °F, 5.4 °F above, until 5:40 pm"


def test_a_moment_has_its_date_when_it_is_read_on_another_day() -> None:
    """Worded at the moment of reading, not of writing."""
    said = phrase("before {before:moment}", before=EVENING)
    assert plain_wording().say(said, EVENING + 86400.0) == "before Wed 25 Nov 21:40"


def test_a_phrase_in_a_phrase_brings_its_numbers_along() -> None:
    """One name for two numbers is refused rather than said wrong."""
    inner = phrase("surface {margin:difference} above dew point", margin=1.7)
    outer = phrase("no-go now ({against})", against=inner)
    assert outer.numbers == {"margin": 1.7}
    assert plain_wording().say(outer) == "no-go now (surface 1.7 °C above dew point)"
    with pytest.raises(ValueError, match="margin"):
        phrase("{one} {margin:difference}", one=inner, margin=3.0)


@given(some.text(max_size=40), some.floats(-50, 50))
def test_what_was_kept_is_recalled_whatever_stands_in_it(name: str, margin: float) -> None:
    """Through JSON and back the same sentence; text from outside opens no place."""
    said = phrase("{sensor}: {margin:difference} apart", sensor=name, margin=margin)
    stored = json.loads(json.dumps(kept(plain_wording(), EVENING, seen=said, advised="look")))
    assert AMERICAN.say(recalled(stored, "seen"), EVENING) == AMERICAN.say(said, EVENING)
    assert stored["seen"] == plain_wording().say(said, EVENING)
    assert recalled(stored, "advised") == "look"
    plain = json.loads(json.dumps(kept(plain_wording(), EVENING, seen=name)))
    assert recalled(plain, "seen") == name


@pytest.mark.parametrize(
    "beside",
    [
        {},
        {"words": {"text": "{margin:difference}"}, "numbers": {}},
        {"words": {"text": "{margin:difference}"}, "numbers": {"margin": "wide"}},
        {"words": {"text": "{margin"}, "numbers": {"margin": 1.0}},
        {"words": ["{margin:difference}"], "numbers": {"margin": 1.0}},
        {"words": {"other": "{margin:difference}"}, "numbers": {"margin": 1.0}},
    ],
)
def test_an_entry_without_usable_numbers_gives_its_text(beside: dict[str, object]) -> None:
    """Written before numbers were kept, or by another program: shown as it stands."""
    assert recalled({"text": "surface 1.7 K above {dew point}", **beside}, "text") == (
        "surface 1.7 K above {dew point}"
    )


def test_a_place_of_a_quantity_nobody_knows_is_a_bare_number() -> None:
    """A newer logbook may hold one; its number is not lost."""
    assert plain_wording().say(Phrase("{wind:speed} of wind", {"wind": 12.0})) == "12 of wind"


@pytest.mark.parametrize(
    ("number", "noun", "told"),
    [
        (1, "block", "1 block"),
        (0, "block", "0 blocks"),
        (1, "entry", "1 entry"),
        (2345, "entry", "2,345 entries"),
        (2, "day", "2 days"),
    ],
)
def test_a_count_has_its_noun_in_the_right_number(number: int, noun: str, told: str) -> None:
    assert counted(number, noun) == told
