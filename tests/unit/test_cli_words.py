"""What people read and type at the terminal's border."""

import math
from zoneinfo import ZoneInfo

import pytest
from msgspec.structs import replace

from curewatch.cli import ascii_fallback
from curewatch.cli.typed import mass_from_text, moment_from_text, span_from_text, temperature_from_text
from curewatch.clock import iso_utc, utc_from_iso
from curewatch.errors import UsageError
from curewatch.safe_text import safe, safe_line
from curewatch.wording import Wording, duration, wording

LISBON = ZoneInfo("Europe/Lisbon")
EVENING = utc_from_iso("2026-11-25T21:40:00Z")


def test_text_from_outside_cannot_act_on_a_terminal() -> None:
    """Escape codes, bidirectional overrides and lone surrogates are written out; umlauts and signs stay."""
    assert safe("\x1b[2Jhull") == "\\x1b[2Jhull"
    assert safe("a\u202eb\x9bc\ud800") == "a\\u202eb\\x9bc\\ud800"
    assert safe("Größe ½ [bold]") == "Größe ½ [bold]"
    assert safe_line("one\ntwo\tthree") == "one two three"
    assert safe("abcdef", 4) == "abc…"


def test_a_moment_has_its_date_when_it_is_not_today() -> None:
    """Today the hour is enough; tomorrow has its day; another year its year."""
    words = wording(LISBON, "C,g,24h", {})
    assert words.moment(EVENING + 1800, EVENING) == "22:10"
    assert words.moment(EVENING + 9 * 3600, EVENING) == "Thu 26 Nov 06:40"
    assert words.moment(EVENING + 60 * 86400, EVENING) == "Sun 24 Jan 2027 21:40"
    assert words.band(EVENING, EVENING + 7200, EVENING) == "21:40-23:40"
    assert words.band(EVENING, EVENING + 4 * 3600, EVENING) == "21:40-Thu 26 Nov 01:40"
    assert words.moment(None, EVENING) == "unknown"


def test_the_coming_night_needs_no_year_on_new_years_eve() -> None:
    """A line of `tonight` was 104 characters long that evening, and 77 on any other."""
    words, eve = wording(LISBON, "C,g,24h", {}), utc_from_iso("2026-12-31T21:00:00Z")
    assert words.moment(eve + 5 * 3600, eve) == "Fri 1 Jan 02:00"
    assert words.foreseen(eve + 5 * 3600, eve) == "Fri 02:00"
    assert words.moment(eve, eve + 5 * 3600) == "Thu 31 Dec 21:00"
    assert words.moment(eve + 6 * 86400, eve) == "Wed 6 Jan 21:00"
    assert words.moment(eve + 7 * 86400, eve) == "Thu 7 Jan 2027 21:00"
    assert words.moment(eve - 300 * 86400, eve) == "Fri 6 Mar 21:00"


def test_units_follow_the_option_then_the_locale() -> None:
    """An American locale reads Fahrenheit, ounces and a 12-hour clock, unless told otherwise."""
    american = wording(LISBON, None, {"LANG": "en_US.UTF-8"})
    assert american.temperature(273.15 + 10) == "50.0 °F"
    assert [american.mass(each) for each in (0.15, 0.6)] == ["5.29 oz", "21.2 oz"]
    assert american.time(EVENING) == "9:40 pm"
    told = wording(LISBON, "C,g,24h", {"LANG": "en_US.UTF-8"})
    assert (told.temperature(283.15), told.mass(0.15), told.time(EVENING)) == ("10.0 °C", "150 g", "21:40")
    assert told.difference(3.0) == "3.0 °C"
    assert [told.volume(litres * 1e-3) for litres in (0.0152, 0.15, 1.234)] == ["15.2 ml", "150 ml", "1.23 l"]
    assert american.difference(3.0) == "5.4 °F"
    with pytest.raises(UsageError, match=r"kelvins.*Use"):
        wording(LISBON, "kelvins", {})


def test_a_span_has_its_days_where_they_are_not_today() -> None:
    """The end's day is said where it is another than the beginning's; what is left is never rounded up."""
    words = wording(LISBON, "12h", {})
    assert words.span(EVENING, EVENING + 1800, EVENING) == "9:40 pm to 10:10 pm"
    assert words.span(EVENING, EVENING + 4 * 3600, EVENING) == "9:40 pm to Thu 26 Nov 1:40 am"
    tomorrow = EVENING + 86400
    assert words.span(tomorrow, tomorrow + 1800, EVENING) == "Thu 26 Nov 9:40 pm to 10:10 pm"
    assert words.left(EVENING + 1259, EVENING) == "20 min left"
    assert words.left(EVENING, EVENING + 720) == "12 min ago"
    assert words.stamp(EVENING) == "2026-11-25  9:40:00 pm"


def test_zero_never_has_a_minus_sign() -> None:
    """A temperature just below zero that rounds to zero is shown as zero."""
    assert wording(LISBON, "C", {}).temperature(273.15 - 0.01) == "0.0 °C"
    assert wording(LISBON, "C", {}).temperature(273.15 - 4.0) == "−4.0 °C"


@pytest.mark.parametrize(
    ("probability", "said"),
    [
        (1.0, "almost certain"),
        (0.98, "almost certain"),
        (0.979, "9 in 10"),
        (0.8, "8 in 10"),
        (0.7999, "7 in 10"),
        (0.3, "3 in 10"),
        (0.6, "6 in 10"),
        (0.599, "about even"),
        (0.45, "about even"),
        (0.449, "4 in 10"),
        (0.1, "1 in 10"),
        (0.099, "less than 1 in 10"),
        (None, "unknown"),
    ],
)
def test_a_chance_is_in_tenths_and_never_rounded_up(probability: float | None, said: str) -> None:
    """Nobody is promised more than there is; the middle and the end have words of their own."""
    assert wording(LISBON, "C", {}).chance(probability) == said


def test_a_time_ahead_is_said_as_finely_as_it_is_known() -> None:
    """To five minutes, within half an hour to one; a deadline is never said later than it is."""
    words = wording(LISBON, "24h", {})
    ahead = {seconds: words.foreseen(EVENING + seconds, EVENING) for seconds in (1799, 1801, 3749, 3751)}
    assert ahead == {1799: "22:10", 1801: "22:10", 3749: "22:40", 3751: "22:45"}
    assert words.foreseen(EVENING + 3599, EVENING, math.floor) == "22:35"
    assert words.foreseen(EVENING + 599, EVENING, math.floor) == "21:49"
    assert words.foreseen(EVENING + 4 * 3600, EVENING) == "Thu 01:40"
    assert words.foreseen(None, EVENING) == "not foreseen"


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [(42, "42 s"), (1080, "18 min"), (3900, "1 h 05 min"), (-600, "−10 min"), (3570, "1 h 00 min")],
)
def test_a_duration_is_short(seconds: float, shown: str) -> None:
    """Seconds, then minutes, then hours and minutes."""
    assert duration(seconds) == shown


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [("20 min", 1200), ("20", 1200), ("1h30", 5400), ("1 h 30 min", 5400), ("90 s", 90), ("1,5 h", 5400)],
)
def test_a_span_of_time_is_read_as_people_write_it(typed: str, seconds: float) -> None:
    """A bare number is minutes; hours may be followed by bare minutes."""
    assert span_from_text(typed) == seconds


@pytest.mark.parametrize("typed", ["", "soon", "20 minutes ago", "-5", "٣ min"])
def test_what_is_not_a_span_is_refused_with_an_example(typed: str) -> None:
    """The refusal shows one that works."""
    with pytest.raises(UsageError, match="20 min"):
        span_from_text(typed)


def test_an_hour_without_a_date_is_the_nearest_behind_or_ahead() -> None:
    """22:10 typed at 21:40 is tonight when looking ahead; looking back it is asked, never yesterday's."""
    assert iso_utc(moment_from_text("22:10", LISBON, EVENING, ahead=True)) == "2026-11-25T22:10:00.000Z"
    with pytest.raises(UsageError, match=r"still to come\. Use 2026-11-24 22:10 if it was yesterday"):
        moment_from_text("22:10", LISBON, EVENING, ahead=False)
    assert iso_utc(moment_from_text("10:10", LISBON, EVENING, ahead=False)) == "2026-11-25T10:10:00.000Z"
    early = EVENING + 3 * 3600  # 00:40
    assert iso_utc(moment_from_text("23:50", LISBON, early, ahead=False)) == "2026-11-25T23:50:00.000Z"
    assert iso_utc(moment_from_text("9:40 pm", LISBON, EVENING, ahead=False)) == "2026-11-25T21:40:00.000Z"
    assert iso_utc(moment_from_text("2026-07-01 12:00", LISBON, EVENING, ahead=False)).startswith(
        "2026-07-01T11"
    )


def test_a_clock_change_is_met_with_open_eyes() -> None:
    """An hour that happens twice is the later one when looking back after it; one left out is refused."""
    after = utc_from_iso("2026-10-25T03:00:00Z")  # Lisbon went from 02:00 WEST back to 01:00 WET at 01:00Z
    assert iso_utc(moment_from_text("01:30", LISBON, after, ahead=False)) == "2026-10-25T01:30:00.000Z"
    between = utc_from_iso("2026-10-25T00:45:00Z")
    assert iso_utc(moment_from_text("01:30", LISBON, between, ahead=False)) == "2026-10-25T00:30:00.000Z"
    with pytest.raises(UsageError, match="jump over"):
        moment_from_text("2026-03-29 01:30", LISBON, EVENING, ahead=False)


@pytest.mark.parametrize("typed", ["25:00", "9:75", "13:00 pm", "yesterday", "", "2026-02-30 10:00"])
def test_what_is_not_a_moment_is_refused_with_an_example(typed: str) -> None:
    """The refusal shows how to write one."""
    with pytest.raises(UsageError, match="21:40"):
        moment_from_text(typed, LISBON, EVENING, ahead=True)


def test_masses_and_temperatures_are_read_with_their_unit() -> None:
    """Grams and degrees Celsius when nothing is said."""
    assert mass_from_text("150") == mass_from_text("0.15 kg") == pytest.approx(0.15)
    assert mass_from_text("5.5 oz") == pytest.approx(0.15592, abs=1e-5)
    assert temperature_from_text("54 F") == pytest.approx(285.372, abs=1e-3)
    assert temperature_from_text("-3,5 °C") == pytest.approx(269.65)
    for typed in ("0", "-5 g", "heavy", "150 stone"):
        with pytest.raises(UsageError, match="150 g"):
            mass_from_text(typed)
    for typed in ("warm", "900", "12 K"):
        with pytest.raises(UsageError):
            temperature_from_text(typed)


def test_signs_become_letters_where_a_terminal_has_no_others() -> None:
    """Never a traceback and never wider than before; what has no stand-in is a question mark."""
    handler = ascii_fallback.register()
    assert "9.4 °C ±0.5 K".encode("ascii", handler) == b"9.4 C ~0.5 K"
    assert "█▒░ ▔─▁ ├┤ …".encode("ascii", handler) == b'#%: "-_ [] ~'
    assert "Größe".encode("latin-1", handler) == "Größe".encode("latin-1")
    assert "450 g/m², 9 g/m³".encode("ascii", handler) == b"450 g/m2, 9 g/m3"
    assert "船".encode("ascii", handler) == b"?"
    assert all(len(letters) <= 1 for letters in ascii_fallback.MEANING.values())


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("30 min at 20 degC with 1.5 %", "30 min at 68 °F with 1.5 %"),
        ("about -70 to -55 degC", "about −94 to −67 °F"),
        ("surface 3 K or more above", "surface 5.4 °F or more above"),
        ("within ± 3 K in any 24 h", "within ± 5.4 °F in any 24 h"),
        ("100 g at 25 °C", "3.53 oz at 77 °F"),
        ("0.2 W/(m K), cloth of 450 g/m2, 1.6 kg", "0.2 W/(m K), cloth of 450 g/m2, 1.6 kg"),
    ],
)
def test_our_own_texts_are_told_again_in_other_units(written: str, read: str) -> None:
    """Sources, cautions and terms stand in degC and grams; a unit of something else stays."""
    assert wording(LISBON, "F,oz", {}).retold(written) == read
    same = written.replace("degC", "°C").replace("3 K", "3 °C").replace("-", "−")
    assert wording(LISBON, "C,g", {}).retold(written) == same


def test_an_hour_that_comes_twice_in_a_night_is_told_with_its_zone() -> None:
    """Portugal sets its clocks back at 01:00 UTC (IANA); a deadline must not be taken for an hour later."""
    evening = utc_from_iso("2026-10-24T21:00:00Z")
    first, second = utc_from_iso("2026-10-25T00:30:00Z"), utc_from_iso("2026-10-25T01:30:00Z")
    words = Wording(LISBON)
    assert words.moment(first, evening) == "Sun 25 Oct 01:30 WEST"
    assert words.moment(second, evening) == "Sun 25 Oct 01:30 WET"
    assert words.moment(first - 1860, evening) == "Sun 25 Oct 00:59"
    assert words.moment(second + 1800, evening) == "Sun 25 Oct 02:00"
    assert words.foreseen(second, evening) == "Sun 01:30 WET"
    assert words.band(first, second, evening) == "Sun 25 Oct 01:30 WEST-01:30 WET"
    assert replace(words, twelve_hours=True).moment(second, second) == "1:30 am WET"
    assert words.moment(utc_from_iso("2026-03-29T01:30:00Z"), None) == "02:30"  # and none beside a gap
    assert words.moment(utc_from_iso("2026-03-29T00:59:00Z"), None) == "00:59"
    assert Wording().moment(first, evening) == "Sun 25 Oct 00:30"
