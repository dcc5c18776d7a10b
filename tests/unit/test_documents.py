"""The parts that every document is made of: sentences, numbers, moments, codes, and how they become JSON."""

import json
import math

import pytest

from curewatch.answers.document import (
    BandDocument,
    SentenceDocument,
    as_json,
    band,
    celsius,
    code,
    moment,
    number,
    plain,
    sentence,
    stamp,
)
from curewatch.phrases import phrase
from curewatch.wording import Wording, plain_wording


def test_a_sentence_of_a_document_is_worded_anew_for_its_reader() -> None:
    """The text is in degC and kelvin for a program; the reader's units come from words and numbers."""
    said = phrase(
        "surface {surface:temperature}, {margin:difference} above; {name}",
        surface=283.15,
        margin=2.0,
        name="{x}",
    )
    kept = sentence(said, plain_wording())
    assert kept.text == "surface 10.0 °C, 2.0 °C above; {x}"
    assert Wording(fahrenheit=True).say(kept) == "surface 50.0 °F, 3.6 °F above; {x}"
    assert Wording(fahrenheit=True).say(sentence("braces {stay}", plain_wording())) == "braces {stay}"


def test_json_is_ascii_and_refuses_what_is_not_finite() -> None:
    """Nothing in it can act on a terminal; a hole is null and never NaN."""
    kept = SentenceDocument(text="µ \x1b[2J", words="µ", numbers={})
    assert as_json(kept).isascii()
    assert "\x1b" not in as_json(kept)
    assert json.loads(as_json(kept)) == plain(kept) == {"text": "µ \x1b[2J", "words": "µ", "numbers": {}}
    with pytest.raises(ValueError, match="JSON"):
        as_json(BandDocument(early=math.nan, likely=1.0, late=2.0))
    assert plain(band(math.nan, 1.26, math.inf)) == {"early": None, "likely": 1.3, "late": None}


def test_numbers_moments_and_codes_at_the_border() -> None:
    """No minus zero, no NaN; a moment comes back as it went; a code has neither blank nor capital."""
    assert str(number(-0.01, 1)) == "0.0"
    assert number(math.inf) is None
    assert celsius(282.5499) == 9.4
    assert moment(stamp(1_795_000_500.25)) == 1_795_000_500.25
    assert stamp(math.nan) is None
    assert moment(None) is None
    assert code("wash and abrade") == "wash-and-abrade"
    assert code("NOT met") == "not-met"


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (10.0, "degC", "50.0 °F"),
        (2.0, "K", "3.6 °F"),
        (82.0, "percent", "82 %"),
        (90.0, "min", "1 h 30 min"),
        (None, "degC", "unknown"),
    ],
)
def test_a_stated_value_is_worded_by_its_unit(value: float | None, unit: str, said: str) -> None:
    """The unit of a key, or of the key `unit` beside it, is all that a screen needs."""
    assert Wording(fahrenheit=True).stated(value, unit) == said
