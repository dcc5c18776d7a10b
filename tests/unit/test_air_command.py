"""What ``curewatch air`` says, and how it answers a slip of the finger."""

import json

import pytest
from typer.testing import CliRunner

from curewatch.cli.commands.air import app, describe
from curewatch.cli.main import run
from curewatch.errors import UsageError


def said(*arguments: str) -> str:
    result = CliRunner().invoke(app, list(arguments), catch_exceptions=False)
    assert result.exit_code == 0
    return result.output


def test_the_dew_point_comes_first() -> None:
    """Air of 15 degC and 85 % has its dew point at 12.5 degC; no frost point is named above 0 degC."""
    lines = said("15", "85").splitlines()
    assert lines[0].split() == ["dew", "point", "12.5", "degC", "(over", "liquid", "water)"]
    assert not any("frost" in line for line in lines)


def test_a_number_below_zero_is_not_an_option() -> None:
    """Cold air may be typed as it is written, and then the frost point is given beside the dew point."""
    found = json.loads(said("-5", "90", "--json"))
    assert found["temperature_c"] == -5.0
    assert found["dew_point_c"] < found["frost_point_c"] < -5.0 + 1.0


def test_a_surface_gives_margin_and_humidity() -> None:
    """Over a 14 degC hull air of 18 degC and 70 % is 90 % and 1.5 K from condensing."""
    found = json.loads(said("18", "70", "--surface", "14", "--json"))
    assert found["surface_humidity_percent"] == pytest.approx(90, abs=0.5)
    assert found["condensation_margin_k"] == pytest.approx(1.56, abs=0.1)
    assert "below the 3.0 K" in said("18", "70", "--surface", "14")
    assert "condenses" in said("18", "70", "--surface", "10")


@pytest.mark.parametrize(
    ("temperature_c", "humidity_percent", "hint"),
    [(68.0, 60.0, "if that was Fahrenheit, give 20.0"), (20.0, 0.6, "give 60"), (20.0, 101.0, "1 to 100 %")],
)
def test_a_slip_is_answered_with_what_is_allowed(
    temperature_c: float, humidity_percent: float, hint: str
) -> None:
    """Fahrenheit or a fraction typed by mistake gets the value that was meant."""
    with pytest.raises(UsageError, match=hint):
        describe(temperature_c, humidity_percent, None)


def test_a_mistake_ends_with_the_usage_status(capsys: pytest.CaptureFixture[str]) -> None:
    """The whole command says what is wrong on stderr and exits with 2, without a traceback."""
    with pytest.raises(SystemExit) as caught:
        run(["air", "20", "300"])
    assert caught.value.code == 2
    assert "relative humidity is 300 %" in capsys.readouterr().err
