"""Values as people type them: their unit beside them or the one they read in, a decimal comma, a date."""

from zoneinfo import ZoneInfo

import click
import pytest
import typer.main

import curewatch.cli.main as program
from curewatch.cli.job_forms import FORMS
from curewatch.cli.main import run
from curewatch.cli.typed import (
    mass_from_text,
    moment_from_text,
    past_from_text,
    span_from_text,
    temperature_from_text,
)
from curewatch.cli.typed_option import TypedNumber, number_from_text
from curewatch.clock import iso_utc, utc_from_iso
from curewatch.errors import UsageError
from curewatch.logbook import EntryKind
from curewatch.wording import Wording
from curewatch.worklog.fields import length_from_text

LISBON = ZoneInfo("Europe/Lisbon")
NOW = utc_from_iso("2026-11-28T22:40:00Z")
AMERICAN = Wording(LISBON, fahrenheit=True, ounces=True)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("10 mm", 0.010), ("10", 0.010), ("3/8 in", 0.009525), ("1 1/2 in", 0.0381), ('3/8"', 0.009525),
        ("0,4 m", 0.4), ("2 ft", 0.6096), ("12,5mm", 0.0125), ("8 cm", 0.08),
    ],
)  # fmt: skip
def test_a_length(text: str, metres: float) -> None:
    """Inches by definition 25.4 mm (ISO 80000-3), fractions of them too."""
    assert length_from_text(text) == pytest.approx(metres)


@pytest.mark.parametrize(
    ("text", "kilogram"),
    [("250 g", 0.250), ("9 oz", 0.2551457), ("1,5 kg", 1.5), ("2 lb", 0.9071847), ("250g", 0.250)],
)
def test_a_mass(text: str, kilogram: float) -> None:
    """The avoirdupois pound is 0.45359237 kg by definition, an ounce its sixteenth part."""
    assert mass_from_text(text) == pytest.approx(kilogram)


@pytest.mark.parametrize("text", ["1,500 g", "1.500 g", "10,000", "1,500 oz"])
def test_a_mass_that_may_be_two_is_refused(text: str) -> None:
    """Some part thousands by it, some decimals: a pot of 1500 g must not get the times of 1.5 g."""
    with pytest.raises(UsageError, match=r"--mass: found .*, which may be 1.* or 1.*\. Write the one"):
        mass_from_text(text)


@pytest.mark.parametrize(
    ("text", "kilogram"), [("1,250 kg", 1.25), ("1.500 kg", 1.5), ("0,125 g", 0.000125), ("1250,5 g", 1.2505)]
)
def test_a_mass_that_can_only_be_one_is_read(text: str, kilogram: float) -> None:
    """Nobody mixes a thousand kilograms, and no thousands begin with a zero."""
    assert mass_from_text(text) == pytest.approx(kilogram)


def test_a_length_or_a_number_that_may_be_two_is_refused() -> None:
    """1,200 mm is a hole of over a metre for one, and a pinprick for another."""
    assert length_from_text("3.175 mm") == pytest.approx(0.003175)
    assert length_from_text("1,200 m") == pytest.approx(1.2)
    for text, metavar in (("1,200", "MM"), ("1,200 mm", "MM"), ("1,000", "PPM"), ("1,000 ppm", "PPM")):
        with pytest.raises(UsageError, match="which may be 1"):
            number_from_text(text, "--length", metavar)


def test_a_bare_number_is_in_the_units_of_the_reader_and_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    """9 is ounces and 54 is degrees Fahrenheit for who reads them; with its unit it is what it says."""
    assert mass_from_text("9", words=AMERICAN) == pytest.approx(0.2551457)
    assert temperature_from_text("54", words=AMERICAN) == pytest.approx(285.372, abs=1e-3)
    said = capsys.readouterr().err
    assert "9 is read as 9 oz" in said
    assert "54 is read as 54 °F" in said
    assert mass_from_text("9 g", words=AMERICAN) == pytest.approx(0.009)
    assert temperature_from_text("12 C", words=AMERICAN) == pytest.approx(285.15)
    assert mass_from_text("9", words=Wording()) == pytest.approx(0.009)
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [
        ("54F", 285.372),
        ("54 °F", 285.372),
        ("12,5 C", 285.65),
        ("\N{MINUS SIGN}4", 269.15),
        ("70 deg F", 294.261),
    ],
)
def test_a_temperature(text: str, kelvin: float) -> None:
    """With or without a blank, a sign or the word degree."""
    assert temperature_from_text(text) == pytest.approx(kelvin, abs=1e-3)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("5 days", 432000),
        ("2 weeks", 1209600),
        ("20 minutes", 1200),
        ("1h30", 5400),
        ("3 hrs", 10800),
        ("20", 1200),
    ],
)
def test_a_span(text: str, seconds: float) -> None:
    """Words as they are said, in the plural too."""
    assert span_from_text(text) == seconds


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("9pm", "2026-11-28T21:00:00.000Z"), ("9 pm", "2026-11-28T21:00:00.000Z"),
        ("28/11/2026 14:00", "2026-11-28T14:00:00.000Z"), ("11/28/2026 2pm", "2026-11-28T14:00:00.000Z"),
        ("28.11.2026 9am", "2026-11-28T09:00:00.000Z"), ("3.4.2026 14:00", "2026-04-03T13:00:00.000Z"),
        ("5/5/2026 10:00", "2026-05-05T09:00:00.000Z"), ("yesterday 21:40", "2026-11-27T21:40:00.000Z"),
        ("0:10", "2026-11-28T00:10:00.000Z"), ("5 days ago", "2026-11-23T22:40:00.000Z"),
    ],
)  # fmt: skip
def test_a_moment_that_has_been(text: str, moment: str) -> None:
    """Read at 22:40 in Lisbon."""
    assert iso_utc(past_from_text(text, LISBON, NOW)) == moment


def test_a_date_that_could_be_two_is_asked_back() -> None:
    """3 April or 4 March: both are named, none is taken."""
    with pytest.raises(UsageError, match=r"two dates\. Use 2026-03-04 or 2026-04-03 14:00"):
        moment_from_text("03/04/2026 14:00", LISBON, NOW, ahead=False)


@pytest.mark.parametrize(
    ("text", "metavar", "number"),
    [
        ("12,5", "NUMBER", 12.5), ("80 %", "PERCENT", 80.0), ("3/8 in", "MM", 9.525), ("2 days", "H", 48.0),
        ("13.3 oz/yd2", "G/M2", 450.946), ("450 g/m²", "G/M2", 450.0), ("0.1 oz", "G", 2.8349523),
        ("1 min", "SECONDS", 60.0), ("600 ppm", "PPM", 600.0),
    ],
)  # fmt: skip
def test_a_number_of_an_option(text: str, metavar: str, number: float) -> None:
    """In the unit that its metavar says."""
    assert number_from_text(text, "--option", metavar) == pytest.approx(number)


def test_every_number_of_every_command_takes_a_comma() -> None:
    """No option is left to a type that knows only points."""
    root = typer.main.get_command(program.application)

    def every(command: click.Command, context: click.Context) -> list[click.Parameter]:
        inner = getattr(command, "list_commands", lambda _: [])(context)
        below = [command.get_command(context, name) for name in inner]  # type: ignore[attr-defined]
        return [*command.params, *(each for one in below for each in every(one, context))]

    floats = [each for each in every(root, click.Context(root)) if each.type.name == "float"]
    assert len(floats) > 20
    assert all(isinstance(each.type, TypedNumber) for each in floats)


BAD = [
    "cure --temperature 12 --hours soon",
    "cure --temperature 12 --hours '5 km'",
    "cure --temperature 12 --thickness 3/0",
    "cure --temperature 12 --thickness '3 kg'",
    "cure --temperature 12 --humidity 'wet'",
    "cure --temperature 12 --mass 9lbss",
    "cure --temperature 12 --peroxide '2 g'",
    "layup round --length 3/8 --thickness 6",
    "layup round --length 120 --thickness '6 kg'",
    "layup round --length 120 --thickness 6 --waste 'some'",
    "layup round --length 120 --thickness 6 --areal '450 kg'",
    "layup round --length 120 --thickness 6 --scale 'fine'",
    "tonight --at 03/04/2026",
    "tonight --at 31/02/2026",
    "tonight --at 25pm",
    "tonight --at 13/13/2026",
    "tonight --mass '5 cups'",
    "layer --ago '5 dayss'",
    "layer --at '12 oclock'",
    "layer --mass 3/8",
    "layer --at 'tomorrow 9pm'",
    "job note --text x --at 24:61",
    "job note --text x --ago 'a while'",
    "job batch --resin-mass 1,2,3 --hardener-mass 5",
    "job batch --resin-mass '200 ml' --hardener-mass 44",
    "job batch --resin-mass 200 --hardener-mass 44 --pot-temperature hot",
    "job quality --check 'peel coupon' --load '2 m' --arm 120",
    "job quality --check 'peel coupon' --load '2 kg' --arm '120 kg'",
    "alerts --past 'lately'",
    "air 54K 40",
    "job open --title x --thickness '12 kg'",
    "observe gelled --temperature '12 X'",
    "layer --part " + "p" * 41,
    "job reopen",
    "bench --part ''",
    "job reopen --job J9",
]


@pytest.mark.parametrize("typed", BAD)
def test_a_slip_is_one_line_with_what_to_use(
    typed: str,
    tmp_path_factory: pytest.TempPathFactory,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Status 2; what was found, what to use; no traceback, and nothing written."""
    import shlex

    folder = tmp_path_factory.mktemp("slip")
    (folder / "curewatch.toml").write_text(
        '[shed]\nzone = "Europe/Lisbon"\n[logbook]\npath = "shed.sqlite"\n'
    )
    monkeypatch.chdir(folder)
    if typed.startswith("job") and "open" not in typed:
        with pytest.raises(SystemExit):
            run(["job", "open", "--title", "new rudder cheek", "--ago", "2 days"])
    capsys.readouterr()
    with pytest.raises(SystemExit) as end:
        run(shlex.split(typed))
    said = capsys.readouterr()
    assert end.value.code == 2, said
    lines = said.err.strip().splitlines()
    assert len(lines) == 1, lines
    assert "found" in lines[0] or "Use" in lines[0] or "allowed" in lines[0]
    assert "Traceback" not in said.err


READINGS = next(each for each in FORMS[EntryKind.QUALITY] if each.key == "readings")


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("3,1 3,2", [3.1, 3.2]), ("3,1; 3,2", [3.1, 3.2]), ("3,1", [3.1]), ("41,43,40", [41.0, 43.0, 40.0]),
        ("41, 43, 40", [41.0, 43.0, 40.0]), ("4.1, 4.3,4.0", [4.1, 4.3, 4.0]),
    ],
)  # fmt: skip
def test_readings_with_a_decimal_comma(text: str, read: list[float]) -> None:
    """A laminate of 3,1 and 3,2 mm has a mean of 3.15 mm in the record, not 2.25 mm."""
    assert READINGS.read(text, "--readings") == pytest.approx(read)


@pytest.mark.parametrize("text", ["3,1, 3,2", "41,43, 40"])
def test_readings_whose_commas_mean_two_things_are_refused(text: str) -> None:
    """It says how to part them."""
    with pytest.raises(UsageError, match="commas of two kinds"):
        READINGS.read(text, "--readings")


def test_two_readings_parted_by_a_comma_are_no_decimal() -> None:
    """Readings of 41 and 43 on the dial would stand in the record as one of 41.43."""
    with pytest.raises(UsageError, match=r"which may be 41\.43 or 41 and 43\. Part readings by blanks"):
        READINGS.read("41,43", "--readings")
