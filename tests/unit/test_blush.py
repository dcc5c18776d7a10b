"""Blush: the orderings that published findings give, and the classes that are ours."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from curewatch.cli.main import run
from curewatch.errors import OutOfValidity
from curewatch.materials import load_resin
from curewatch.model.film.blush import OUTCOMES, blush, outcome, rate
from curewatch.model.film.ensemble import cures
from curewatch.model.film.film import Cure, History, constant, cure
from curewatch.model.film.lots import Lot
from tests.examples import up_to

FAST, SLOW, LOW = (load_resin(f"epoxy-{name}") for name in ("fast", "slow", "low-blush"))
DAYS = 5 * 86400.0
celsius = st.floats(5.0, 30.0)
humidity = st.floats(0.2, 0.99)


def film(temperature_c: float) -> Cure:
    return cure(SLOW, constant(temperature_c + 273.15, DAYS))


@given(celsius, humidity, humidity)
@settings(max_examples=up_to(25), deadline=None)
def test_damper_air_at_the_surface_never_blushes_less(at: float, one: float, other: float) -> None:
    """Exposure rises with the humidity at the surface."""
    done = film(at)
    dry, damp = (float(blush(SLOW, done, value).exposure) for value in sorted((one, other)))
    assert dry <= damp


@given(st.floats(6.0, 20.0), st.floats(1.0, 10.0))
@settings(max_examples=up_to(25), deadline=None)
def test_colder_blushes_more_at_the_same_humidity(at: float, colder_by: float) -> None:
    """Carbamation slows less in the cold than cure does, so the cold surface gathers more."""
    warm, cold = blush(SLOW, film(at), 0.8), blush(SLOW, film(at - colder_by), 0.8)
    assert float(cold.exposure) > float(warm.exposure)


@given(celsius, st.floats(0.0, 3600.0), st.floats(60.0, 3600.0))
@settings(max_examples=up_to(25), deadline=None)
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


def test_nothing_gathers_at_forty_per_cent_and_it_goes_on_rising_past_eighty() -> None:
    """Effect at 80 %, none measured at 40 % (Bannister 2022, abstract); nothing says that it ends there."""
    assert float(rate(SLOW, 293.15, 0.40)) == 0.0
    assert float(rate(SLOW, 293.15, 0.80)) == pytest.approx(SLOW.blush.amine_factor)
    rising = rate(SLOW, 293.15, np.arange(0.40, 1.001, 0.01))
    assert np.all(np.diff(rising) > 0.0)


def test_amine_that_has_reacted_does_not_blush() -> None:
    """By hand: in steady air the exposure is the rate times the integral of (1 - a)^2, until tack-free."""
    done = film(15.0)
    amine = (1.0 - done.conversion) ** 2
    until = float(np.interp(SLOW.milestones.tack_free, done.conversion, done.time))
    time = np.linspace(0.0, until, 20_000)
    expected = float(np.trapezoid(np.interp(time, done.time, amine), time)) * float(rate(SLOW, 288.15, 0.7))
    assert float(blush(SLOW, done, 0.7).exposure) == pytest.approx(expected, rel=0.01)


@given(st.floats(5.0, 25.0), st.floats(0.45, 0.98))
@settings(max_examples=up_to(40), deadline=None)
def test_a_fast_hardener_is_never_the_safer_choice(at: float, humidity: float) -> None:
    """Small unhindered amines take up most, adducts least (argued from amine class; trade experience)."""
    exposures = [
        float(blush(resin, cure(resin, constant(at + 273.15, DAYS)), humidity).exposure)
        for resin in (FAST, SLOW, LOW)
    ]
    assert exposures == sorted(exposures, reverse=True)
    classes = [
        OUTCOMES.index(blush(resin, cure(resin, constant(at + 273.15, DAYS)), humidity).outcome)
        for resin in (FAST, SLOW, LOW)
    ]
    assert classes == sorted(classes, reverse=True)


@pytest.mark.parametrize("name", ["polyester-laminating", "polyester-topcoat", "vinyl-ester"])
def test_peel_ply_is_never_asked_for_against_blush_of_a_styrene_resin(name: str) -> None:
    """They have no amine, at any humidity and in any heater gas."""
    resin = load_resin(name)
    for at, humidity in ((5.0, 0.99), (20.0, 0.9)):
        found = blush(resin, cure(resin, constant(at + 273.15, DAYS)), humidity, 5000e-6)
        assert (found.outcome, found.worst) == ("none", "none")


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


def test_a_class_begins_at_its_limit() -> None:
    """The very exposure of the limit belongs to the worse class."""
    limits = SLOW.blush.peel_ply_from, SLOW.blush.wash_from
    at = [outcome(SLOW, limit) for limit in limits]
    below = [outcome(SLOW, float(np.nextafter(limit, 0.0))) for limit in limits]
    assert (at, below) == (["peel-ply", "wash-and-abrade"], ["none", "peel-ply"])


def test_a_film_that_does_not_blush_says_why() -> None:
    """At 40 % nothing forms at all; above it a quick, warm film sets before much does."""
    quick = cure(LOW, constant(298.15, DAYS))
    dry, damp = blush(LOW, quick, 0.40), blush(LOW, quick, 0.45)
    assert (float(dry.exposure), dry.reason) == (0.0, "dry enough at the surface")
    assert damp.outcome == "none"
    assert damp.reason == "sets before much can form"
    set_in_its_pot = blush(LOW, quick, 0.95, rest=DAYS)
    assert (float(set_in_its_pot.exposure), set_in_its_pot.reason) == (0.0, damp.reason)


@pytest.mark.parametrize(
    ("at", "dioxide", "cold", "heater"),
    [(14.0, 2 * 420e-6, True, False), (16.0, 2.1 * 420e-6, False, True)],
)
def test_cold_and_a_heater_are_named_as_causes(at: float, dioxide: float, cold: bool, heater: bool) -> None:
    """Below 15 degC, and above twice the carbon dioxide of fresh air."""
    reason = blush(SLOW, film(at), 0.95, dioxide).reason
    assert ("cold" in reason, "heater" in reason) == (cold, heater)


def test_without_a_rest_all_counts_from_mixing() -> None:
    """And half a second in the pot already spares a little."""
    done = film(15.0)
    plain, spread, later = (
        float(each.exposure)
        for each in (
            blush(SLOW, done, 0.9),
            blush(SLOW, done, 0.9, rest=0.0),
            blush(SLOW, done, 0.9, rest=0.5),
        )
    )
    assert plain == spread > later


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
    wet = blush(SLOW, done, damp)
    assert wet.condensed == pytest.approx(1 / 8)
    assert wet.no_go


@pytest.mark.parametrize(("moment", "wet"), [(0, False), (1, True), (2, True), (3, False)])
def test_water_counts_from_the_spreading_until_the_film_is_tack_free(moment: int, wet: bool) -> None:
    """In the pot no air reaches it; the very moment of spreading counts, that of tack-free no more."""
    tack_free = SLOW.milestones.tack_free
    conversion = np.array([0.0, 0.1, 0.2, tack_free])
    time, warm = 600.0 * np.arange(4), np.full(4, 293.15)
    humidity = np.where(np.arange(4) == moment, 1.0, 0.8)
    done = Cure(time, conversion, warm, warm, conversion)
    assert blush(SLOW, done, humidity, rest=600.0).no_go == wet


def test_a_polyester_has_no_amine_and_no_blush() -> None:
    """Amine factor 0 gives none, whatever the air."""
    resin = load_resin("polyester-laminating")
    found = blush(resin, cure(resin, constant(283.15, DAYS)), 0.95)
    assert (found.outcome, found.reason) == ("none", "no amine, so no amine blush")


def test_per_cent_for_a_fraction_is_refused() -> None:
    """85 is not a relative humidity in SI."""
    with pytest.raises(OutOfValidity, match="relative humidity at the surface is 85"):
        rate(SLOW, 293.15, 85.0)
    with pytest.raises(OutOfValidity, match=r"at the surface is -0\.1;"):
        rate(SLOW, 293.15, [3.0, 0.0, -0.1])
    assert float(rate(SLOW, 293.15, 3.0)) == float(rate(SLOW, 293.15, 1.0))  # mist is no damper than that


@pytest.mark.parametrize(
    ("humidity", "dioxide", "taken"),
    [(0.0, 0.0, True), (3.0, 0.1, True), (3.1, 420e-6, False), (0.8, 0.11, False), (0.8, -1e-6, False)],
)
def test_air_is_taken_from_none_of_it_up_to_what_looks_like_another_unit(
    humidity: float, dioxide: float, taken: bool
) -> None:
    """Air without vapour or carbon dioxide makes no blush; above 300 % or 10 % it is no fraction."""
    if taken:
        assert float(rate(SLOW, 293.15, humidity, 0.0)) == 0.0
        assert float(rate(SLOW, 293.15, 0.0, dioxide)) == 0.0
    else:
        with pytest.raises(OutOfValidity, match="as a fraction"):
            rate(SLOW, 293.15, humidity, dioxide)


def test_cure_tells_of_blush_when_the_humidity_is_given(capsys: pytest.CaptureFixture[str]) -> None:
    """Damp and cold: peel ply or washing, and why; a rest in the pot helps; a fraction is refused."""

    def exposure(*more: str) -> float:
        with pytest.raises(SystemExit):
            run(["cure", "--resin", "epoxy-slow", "--temperature", "10", "--humidity", "90", "--json", *more])
        return float(json.loads(capsys.readouterr().out)["blush"]["exposure_s"]["likely"])

    assert exposure("--rest", "1 h") < exposure() < exposure("--carbon-dioxide", "2000")
    with pytest.raises(SystemExit):
        run(["cure", "--resin", "epoxy-slow", "--temperature", "10", "--humidity", "100", "--why"])
    shown = capsys.readouterr().out
    assert "wash" in shown
    assert "no-go" in shown
    with pytest.raises(SystemExit) as rejected:
        run(["cure", "--resin", "epoxy-slow", "--temperature", "10", "--humidity", "0.9"])
    assert rejected.value.code == 2
    assert "give 90" in capsys.readouterr().err
