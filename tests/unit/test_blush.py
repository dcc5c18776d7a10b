"""Blush: the orderings that published findings give, and the classes that are ours."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curewatch.cli.main import run
from curewatch.errors import OutOfValidity
from curewatch.materials import load_resin
from curewatch.model.film.blush import OUTCOMES, blush, rate
from curewatch.model.film.ensemble import cures
from curewatch.model.film.film import Cure, History, constant, cure
from curewatch.model.film.lots import Lot

SLOW, LOW = load_resin("epoxy-slow"), load_resin("epoxy-low-blush")
DAYS = 5 * 86400.0
celsius = st.floats(5.0, 30.0)
humidity = st.floats(0.2, 0.99)


def film(temperature_c: float) -> Cure:
    return cure(SLOW, constant(temperature_c + 273.15, DAYS))


@given(celsius, humidity, humidity)
@settings(max_examples=25, deadline=None)
def test_damper_air_at_the_surface_never_blushes_less(at: float, one: float, other: float) -> None:
    """Exposure rises with the humidity at the surface."""
    done = film(at)
    dry, damp = (float(blush(SLOW, done, value).exposure) for value in sorted((one, other)))
    assert dry <= damp


@given(st.floats(6.0, 20.0), st.floats(1.0, 10.0))
@settings(max_examples=25, deadline=None)
def test_colder_blushes_more_at_the_same_humidity(at: float, colder_by: float) -> None:
    """Carbamation slows less in the cold than cure does, so the cold surface gathers more."""
    warm, cold = blush(SLOW, film(at), 0.8), blush(SLOW, film(at - colder_by), 0.8)
    assert float(cold.exposure) > float(warm.exposure)


@given(celsius, st.floats(0.0, 3600.0), st.floats(60.0, 3600.0))
@settings(max_examples=25, deadline=None)
def test_a_longer_rest_after_mixing_lowers_the_exposure_in_damp_air(
    at: float, rest: float, longer: float
) -> None:
    """What reacts in the pot cannot blush on the surface."""
    done = film(at)
    short, long = (float(blush(SLOW, done, 0.9, rest=each).exposure) for each in (rest, rest + longer))
    assert long < short or long == short == 0.0


def test_heater_gas_and_a_more_prone_amine_blush_in_proportion() -> None:
    """Carbon dioxide and the class of the amine enter as factors."""
    done = film(12.0)
    plain = float(blush(SLOW, done, 0.7).exposure)
    assert float(blush(SLOW, done, 0.7, 4 * 420e-6).exposure) == pytest.approx(4 * plain)
    prone = replace(SLOW, blush=replace(SLOW.blush, amine_factor=2 * SLOW.blush.amine_factor))
    assert float(blush(prone, done, 0.7).exposure) == pytest.approx(2 * plain)


def test_nothing_gathers_at_forty_per_cent_and_the_most_at_eighty() -> None:
    """The published ends of the humidity range."""
    assert float(rate(SLOW, 293.15, 0.40)) == 0.0
    assert float(rate(SLOW, 293.15, 0.80)) == pytest.approx(SLOW.blush.amine_factor)


def test_a_fifth_more_gathers_from_twenty_to_ten_degrees(record_property) -> None:
    """An activation energy of 45 against 58.5 kJ/mol makes about 1.2 of the ratio; stalling adds to it."""
    warm, cold = (float(blush(SLOW, film(at), 0.9).exposure) for at in (20.0, 10.0))
    record_property("measured", f"{cold / warm:.2f} times")
    assert 1.15 < cold / warm < 1.6


def test_classes_follow_their_limits_and_say_why() -> None:
    """Dry and warm: none. Cold and damp for long: wash and abrade, with its reasons."""
    assert blush(LOW, cure(LOW, constant(298.15, DAYS)), 0.45).outcome == OUTCOMES[0]
    bad = blush(SLOW, film(8.0), 0.95, 2000e-6)
    assert bad.outcome == OUTCOMES[2]
    assert "95 %" in bad.reason
    assert "heater" in bad.reason
    assert "cold" in bad.reason


def test_members_give_a_band_and_water_on_an_uncured_film_is_no_go() -> None:
    """A band over members; a single member with water on it is told."""
    time = np.linspace(0.0, DAYS, 200)
    paths = np.stack([np.full(200, 281.15 + each) for each in range(8)])
    done = cures(SLOW, History(time, paths), [Lot(SLOW, 1.0)])
    damp = np.full(done.conversion.shape, 0.85)
    found = blush(SLOW, done, damp)
    assert found.exposure.shape == (8,)
    assert found.band.early < found.band.likely < found.band.late
    assert not found.no_go
    damp[3, :5] = 1.0
    assert blush(SLOW, done, damp).condensed == pytest.approx(1 / 8)


def test_a_polyester_has_no_amine_and_no_blush() -> None:
    """Amine factor 0 gives none, whatever the air."""
    resin = load_resin("polyester-laminating")
    found = blush(resin, cure(resin, constant(283.15, DAYS)), 0.95)
    assert (found.outcome, found.reason) == ("none", "no amine, so no amine blush")


def test_per_cent_for_a_fraction_is_refused() -> None:
    """85 is not a relative humidity in SI."""
    with pytest.raises(OutOfValidity, match="relative humidity at the surface is 85"):
        rate(SLOW, 293.15, 85.0)


def test_cure_tells_of_blush_when_the_humidity_is_given(capsys: pytest.CaptureFixture[str]) -> None:
    """Damp and cold: peel ply or washing, and why; a rest in the pot helps; a fraction is refused."""

    def exposure(*more: str) -> float:
        with pytest.raises(SystemExit):
            run(["cure", "--resin", "epoxy-slow", "--temperature", "10", "--humidity", "90", "--json", *more])
        return float(json.loads(capsys.readouterr().out)["blush"]["exposure_s"]["likely"])

    assert exposure("--rest", "1 h") < exposure() < exposure("--carbon-dioxide", "2000")
    with pytest.raises(SystemExit):
        run(["cure", "--resin", "epoxy-slow", "--temperature", "10", "--humidity", "100"])
    shown = capsys.readouterr().out
    assert "wash" in shown
    assert "no-go" in shown
    with pytest.raises(SystemExit) as rejected:
        run(["cure", "--resin", "epoxy-slow", "--temperature", "10", "--humidity", "0.9"])
    assert rejected.value.code == 2
    assert "give 90" in capsys.readouterr().err
