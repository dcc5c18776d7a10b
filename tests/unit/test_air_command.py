"""What ``curewatch air`` says, and how it answers a slip of the finger."""

import json

import pytest

from curewatch.cli.commands.air import describe
from curewatch.cli.main import run
from curewatch.errors import UsageError


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch):  # type: ignore[no-untyped-def]
    monkeypatch.setenv("LC_ALL", "C.UTF-8")

    def call(*arguments: str) -> str:
        with pytest.raises(SystemExit) as stop:
            run(["air", *arguments])
        assert not stop.value.code
        return capsys.readouterr().out

    return call


def test_the_dew_point_comes_first(said) -> None:  # type: ignore[no-untyped-def]
    """Air of 15 degC and 85 % has its dew point at 12.5 degC; no frost point is named above 0 degC."""
    lines = said("15", "85").splitlines()
    assert lines[0].split() == ["dew", "point", "12.5", "°C", "(over", "liquid", "water)"]
    assert not any("frost" in line for line in lines)


def test_a_number_below_zero_is_not_an_option(said) -> None:  # type: ignore[no-untyped-def]
    """Cold air may be typed as it is written, and then the frost point is given beside the dew point."""
    found = json.loads(said("-5", "90", "--json"))
    assert found["temperature_c"] == -5.0
    assert found["dew_point_c"] < found["frost_point_c"] < -5.0 + 1.0


def test_a_surface_gives_margin_and_humidity(said) -> None:  # type: ignore[no-untyped-def]
    """Over a 14 degC hull air of 18 degC and 70 % is 90 % and 1.6 K from condensing."""
    found = json.loads(said("18", "70", "--surface", "14", "--json"))
    assert found["surface_humidity_percent"] == pytest.approx(90, abs=0.5)
    assert found["condensation_margin_k"] == pytest.approx(1.56, abs=0.1)
    assert "too little" in said("18", "70", "--surface", "14")
    assert "condenses" in said("18", "70", "--surface", "10")
    assert "enough" in said("18", "50", "--surface", "14")


def test_a_class_of_part_adds_its_error(said) -> None:  # type: ignore[no-untyped-def]
    """A good digital chip knows the margin to half a kelvin, a combined pressure chip to more than one."""
    good, poor = (
        json.loads(said("10", "80", "--surface", "8", "--part", part, "--json"))["condensation_margin_sd_k"]
        for part in ("humidity-2", "combined")
    )
    assert 0.3 < good < 0.6
    assert 1.0 < poor < 1.7
    assert "±" in said("10", "80", "--part", "humidity-2")


def test_fahrenheit_is_read_and_said(said) -> None:  # type: ignore[no-untyped-def]
    """68F is 20 degC, and who reads Fahrenheit gets it back."""
    assert json.loads(said("68F", "60", "--json"))["dew_point_c"] == pytest.approx(12.0, abs=0.05)
    assert "53.6 °F" in said("68F", "60", "--units", "F")


@pytest.mark.parametrize(
    ("temperature", "humidity", "hint"),
    [
        ("68", "60", r"write 68F \(20.0 °C\)"),
        ("20", "0.6", "write 60"),
        ("20", "101", "1 to 100 %"),
        ("20", "damp", "found .damp.. Use 80"),
        ("warm", "60", "no temperature"),
    ],
)
def test_a_slip_is_answered_with_what_is_allowed(temperature: str, humidity: str, hint: str) -> None:
    """Fahrenheit, a fraction or a word typed by mistake gets what was meant, or what is allowed."""
    with pytest.raises(UsageError, match=hint):
        describe(temperature, humidity)


def test_a_part_without_humidity_or_name_is_refused() -> None:
    """A plain thermometer has no humidity error, and an unknown class is answered with those that exist."""
    with pytest.raises(UsageError, match="measures no humidity"):
        describe("20", "60", None, "probe")
    with pytest.raises(UsageError, match=r"--part: found 'horsehair'\. Use .*humidity-2"):
        describe("20", "60", None, "horsehair")


@pytest.mark.parametrize("coldest", ["-40", "-40 C", "-40F"])
def test_the_coldest_air_that_is_said_to_be_allowed_is_taken(coldest: str) -> None:
    """Minus forty is the same on both scales, and a refusal names it as allowed."""
    assert describe(coldest, "60").temperature_c == pytest.approx(-40.0)
    with pytest.raises(UsageError, match="Use -40 to 60"):
        describe("-40.1", "60")


def test_a_mistake_ends_with_the_usage_status(capsys: pytest.CaptureFixture[str]) -> None:
    """The whole command says what is wrong on stderr and exits with 2, without a traceback."""
    with pytest.raises(SystemExit) as caught:
        run(["air", "20", "300"])
    assert caught.value.code == 2
    assert "relative humidity: found 300 %" in capsys.readouterr().err


def test_what_was_taken_is_said_in_the_units_asked_for(said) -> None:  # type: ignore[no-untyped-def]
    """A bare 54 is degrees Fahrenheit where the screen speaks so, and that is said; 12 C stays 12 C."""
    lines = said("54", "40", "--units", "F", "--surface", "53").splitlines()
    assert any(line.split()[:4] == ["of", "air", "at", "54.0"] for line in lines)
    assert any(
        line.split()[:4] == ["of", "air", "at", "53.6"]
        for line in said("12 C", "40", "--units", "F").splitlines()
    )
    assert any("5.4 °F is asked" in line for line in lines)
