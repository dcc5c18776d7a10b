"""Learning of a lot: against a grid posterior, narrower with each observation, versions with parents."""

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from curewatch.answers.observe import observe_document
from curewatch.cli.screens.observe import lines
from curewatch.errors import OutOfValidity
from curewatch.materials import load_resin
from curewatch.materials.resin import Covariance
from curewatch.model.film import film
from curewatch.model.film.milestones import milestones
from curewatch.model.film.outcome import outcome
from curewatch.model.fit.evidence import CUP, Evidence, as_plain, cup_evidence, from_plain, remembered
from curewatch.model.fit.learning import WITHIN_LOT, Learnt, current_resin, folded, learn, lessons
from curewatch.model.fit.score import widened, widening
from curewatch.model.mass.pot import pot
from curewatch.shed.learnt import along
from curewatch.units import HOUR

SLOW = load_resin("epoxy-slow")
TIME = np.arange(0.0, 40 * 3600.0, 900.0)
NIGHT = film.History(TIME, 286.15 + 3.0 * np.cos(TIME / 14000.0))
LONG = film.History(np.append(TIME, 4e5), np.append(NIGHT.temperature, NIGHT.temperature[-1]))


def gel(factor: float) -> float:
    return milestones(SLOW, film.cure(SLOW, LONG, rate_factor=factor)).gel


@given(st.floats(0.65, 1.55))
@settings(max_examples=2, deadline=None)
def test_one_gel_time_gives_the_posterior_of_a_fine_grid(factor: float) -> None:
    """Mean and spread of the rate factor as by Bayes' rule on 61 points, along a night; 2 % is their skew."""
    seen = gel(factor)
    grid = np.linspace(-1.0, 1.0, 61)
    times = np.array([gel(float(each)) for each in np.exp(grid)])
    misfit = (np.log(times) - math.log(seen)) ** 2 / 0.15**2 + grid**2 / SLOW.rate_sd**2
    weight = np.exp(-0.5 * (misfit - misfit.min()))
    mean = float(np.average(grid, weights=weight))
    sd = math.sqrt(float(np.average((grid - mean) ** 2, weights=weight)))
    found = learn(SLOW, Evidence("gelled", seen, NIGHT))
    assert math.log(found.factor) == pytest.approx(mean, abs=0.02)
    assert found.after.rate_sd == pytest.approx(sd, rel=0.05)


@pytest.mark.long
def test_two_observations_make_the_bands_visibly_narrower() -> None:
    """The band of tack-free after two observations is under two thirds of what it was."""
    fast = milestones(SLOW, film.cure(SLOW, LONG, rate_factor=1.25))
    found = lessons(SLOW, [Evidence("gelled", fast.gel, NIGHT), Evidence("firm", fast.firm, NIGHT)])
    before, after = (
        outcome(each, film.constant(285.15, 4 * 86400.0)).marks["tack_free"]
        for each in (SLOW, found[-1].after)
    )
    widths = [math.log(float(each.late) / float(each.early)) for each in (before, after)]
    assert widths[1] < 0.67 * widths[0]
    assert [each.after.version for each in found] == [2, 3]
    assert [each.after.parent for each in found] == ["epoxy-slow version 1", "epoxy-slow version 2"]
    assert found[0].factor > 1.05
    assert found[-1].after.origins["kinetics.k1"].tag == "learned"


@pytest.mark.long
def test_learning_converges_on_the_lot_that_it_sees() -> None:
    """Ten kicks of a lot a fifth faster: the rate is there, the spread is down to that within a lot."""
    truth = pot(SLOW, 0.2, 291.15, rate_factor=1.2, duration=86400.0).pot_life
    cup = Evidence("kicked", truth, film.constant(291.15, truth), mass=0.2)
    learnt = current_resin(SLOW, [cup] * 10)
    assert learnt.kinetics.k2 / SLOW.kinetics.k2 == pytest.approx(1.2, rel=0.03)
    assert learnt.rate_sd <= 1.5 * WITHIN_LOT


def test_a_test_cup_is_learnt_from_its_thermometer() -> None:
    """The log of a cup of a slow lot: when it had risen tells the rate."""
    log = pot(SLOW, 0.15, 293.15, rate_factor=0.8, duration=5 * 3600.0)
    evidence = cup_evidence(film.History(log.time, log.middle), 0.15)
    assert evidence.observed == CUP
    found = learn(SLOW, evidence)
    assert found.factor == pytest.approx(0.8, rel=0.05)
    assert found.spread_after < 0.5 * found.spread_before


@pytest.mark.long
def test_every_moment_of_a_cup_counts_and_one_of_three_is_told() -> None:
    """A resin whose start is open learns more of it from three moments than from the last alone."""
    keys = ("kinetics.k1", "kinetics.k2")
    open_start = replace(SLOW, covariance=Covariance(keys, ((0.16, 0.0), (0.0, 0.16))), rate_sd=WITHIN_LOT)
    log = pot(SLOW, 0.15, 293.15, rate_factor=0.8, duration=5 * 3600.0)
    evidence = cup_evidence(film.History(log.time, log.middle), 0.15)
    assert [rise for _, rise in evidence.earlier] == [10.0, 5.0]
    assert evidence.rise == 15.0
    one, three = (learn(open_start, each) for each in (evidence._replace(earlier=()), evidence))
    assert three.expected == one.expected
    narrowed = [np.linalg.det(np.array(each.after.covariance.matrix)) for each in (one, three)]
    assert narrowed[1] < 0.8 * narrowed[0]
    again = from_plain(as_plain(evidence))
    assert learn(open_start, again).factor == pytest.approx(three.factor, rel=1e-3)


def test_a_cup_that_never_warmed_teaches_nothing() -> None:
    """Less than 5 K is refused, with what to do."""
    with pytest.raises(OutOfValidity, match="a larger cup"):
        cup_evidence(film.History(np.array([0.0, 3600.0]), np.array([293.15, 295.0])), 0.05)


def test_what_no_lot_could_do_contradicts() -> None:
    """A gel after a tenth of its time is likelier a slip than a lot: 99 of 100 come within the band."""
    assert learn(SLOW, Evidence("gelled", gel(1.0) / 10.0, NIGHT)).contradicts
    found = learn(SLOW, Evidence("gelled", gel(1.0) * 1.2, NIGHT))
    assert not found.contradicts
    early, late = found.believed_band
    assert math.log(late / early) == pytest.approx(2 * 2.576 * found.expected_sd)
    for beyond, slip in ((1.01 * late, True), (0.99 * late, False), (early / 1.01, True)):
        assert learn(SLOW, Evidence("gelled", beyond, NIGHT)).contradicts is slip


def test_a_slip_narrows_nothing_and_moves_the_less_the_farther_off_it_is() -> None:
    """A heavy tail: two thirds at the edge of the band, eight in a hundred for three minutes after mixing."""
    edge = learn(SLOW, Evidence("gelled", gel(1.0), NIGHT)).believed_band[0]
    at = [0.99 * edge, 0.5 * edge, 0.1 * edge, 180.0]
    found = [learn(SLOW, Evidence("gelled", time, NIGHT)) for time in at]
    factors = [each.factor for each in found]
    assert factors == sorted(factors, reverse=True)
    assert factors[-1] < 1.1
    assert all(each.after.rate_sd == SLOW.rate_sd for each in found)
    # A faster lot gels earlier in the night, where its time hangs less on the rate.
    assert all(each.spread_after == pytest.approx(each.spread_before, rel=0.15) for each in found)
    inside = learn(SLOW, Evidence("gelled", 1.01 * edge, NIGHT))
    assert inside.factor == pytest.approx(factors[0], rel=0.05)  # no jump at the edge
    assert inside.after.rate_sd < 0.8 * SLOW.rate_sd


def test_a_slip_counts_for_its_own_layer_alone() -> None:
    """Another layer of the lot and the lot as a whole are as if it had never been told; so from memory."""
    slip = Evidence("gelled", 180.0, NIGHT, layer="L2")
    right = Evidence("gelled", 0.9 * gel(1.0), NIGHT, layer="L1")
    again = from_plain({**as_plain(slip), "layer": "L2", "memory": remembered(learn(SLOW, slip).memory)})
    alone = current_resin(SLOW, [right])
    for told in (slip, again):
        assert current_resin(SLOW, [told], "L1") is SLOW
        assert current_resin(SLOW, [told, right]) == alone
        assert current_resin(SLOW, [told], "L2").kinetics.k2 > SLOW.kinetics.k2
    assert [each.counts_for("L1") for each in lessons(SLOW, [slip, right])] == [False, True]
    assert lessons(SLOW, [slip, right])[-1].after == alone
    cup = slip._replace(layer="")
    assert current_resin(SLOW, [cup], "") is SLOW  # a cup that contradicts is nobody's layer


def told(seen: Sequence[Evidence]) -> tuple[float, float]:
    """The lot's rate and the spread told of it, widened by what came of what was told."""
    found = lessons(SLOW, seen)
    steps = [each.evidence._replace(memory=each.memory) for each in found]
    resin = widened(current_resin(SLOW, steps), widening(each.pull for each in found))
    return resin.kinetics.k2 / SLOW.kinetics.k2, resin.rate_sd


def layers(*factors: float) -> list[Evidence]:
    """Layers of lots so many times as fast, each seen when it gelled."""
    return [Evidence("gelled", gel(each), NIGHT, layer=f"L{n}") for n, each in enumerate(factors, 1)]


def test_what_contradicts_widens_and_never_makes_surer() -> None:
    """0 to 10 standard deviations early: the spread grows from 2 on, beyond 3 it is wider than the prior's.

    The control: what is as expected makes it a third narrower.
    """
    expected = learn(SLOW, Evidence("gelled", gel(1.0), NIGHT))
    at = [
        expected.expected * math.exp(-pull * expected.expected_sd) for pull in (0.0, 1.0, 2.0, 3.0, 5.0, 10.0)
    ]
    sd = [told([Evidence("gelled", time, NIGHT)])[1] for time in at]
    assert sd[2:] == sorted(sd[2:])
    assert min(sd[3:]) > 1.3 * SLOW.rate_sd
    assert sd[0] < 0.67 * SLOW.rate_sd


@pytest.mark.parametrize("factor", [2.5, pytest.param(0.4, marks=pytest.mark.long)])
def test_a_lot_that_is_steadily_far_off_is_learnt_from_the_third_layer(factor: float) -> None:
    """Two and a half times as fast or slow: within 15 % after three and after ten; two alone are slips."""
    seen = [each._replace(number=n) for n, each in enumerate(layers(*[factor] * 10), 1)]
    found = lessons(SLOW, seen)
    assert [each.contradicts for each in found] == [True, True, *[False] * 8]
    for count in (3, 10):
        learnt = found[count - 1].after
        assert learnt.kinetics.k2 / SLOW.kinetics.k2 == pytest.approx(factor, rel=0.15)
    assert [each.layer for each in found[2].together] == ["L1", "L2"]
    assert found[2].after.rate_sd < SLOW.rate_sd
    same = [each.evidence._replace(layer="L1", memory=each.memory) for each in found[:2]]
    assert learn(SLOW, seen[2]._replace(layer="L1"), same).contradicts  # of one layer it is one wrong hour
    told = observe_document(found[:3], layer="L3", resin="epoxy-slow", lot="A12")
    assert [each.used for each in told.observations] == [True] * 3
    shown = "\n".join(lines("L3 gelled", told))
    assert "Not expected, but as entries 1, 2: three alike are believed of the lot." in shown
    assert shown.count("learnt with a later one: gelled") == 2
    assert "%" in next(row for row in shown.splitlines() if row.endswith("with entries 1, 2"))


@pytest.mark.long
def test_one_outlier_among_ten_moves_the_lot_by_little() -> None:
    """Less than 3 % on the rate, wherever it comes; three that contradict each in its own way are no lot."""
    assert current_resin(SLOW, layers(2.6, 0.35, 8.0)) is SLOW
    honest = layers(*np.exp(np.linspace(-0.15, 0.15, 10)))
    without = told(honest)
    for place in (0, 5, 10):
        slip = Evidence("gelled", 180.0, NIGHT, layer="LX")
        rate, sd = told([*honest[:place], slip, *honest[place:]])
        assert rate == pytest.approx(without[0], rel=0.03)
        assert sd > without[1]


@pytest.mark.long
def test_three_alike_are_remembered_and_forgotten_with_what_bore_them_out() -> None:
    """From memory as computed; with one of the first two withdrawn the third is a slip again."""
    lot, seen = Learnt(SLOW), []
    for each in layers(2.5, 2.5, 2.5, 2.5):
        memory = remembered(learn(lot.resin, each, lot.doubted).memory)
        seen.append(from_plain({**as_plain(each), "layer": each.layer, "memory": memory}))
        lot = folded(SLOW, seen)
    fresh = [each._replace(memory=None) for each in seen]
    assert lot.resin.kinetics.k2 == pytest.approx(current_resin(SLOW, fresh).kinetics.k2, rel=1e-3)
    assert lot.doubted == ()
    assert folded(SLOW, seen[1:3]).resin is SLOW


@pytest.mark.long
def test_a_fitted_system_learns_in_all_it_left_open() -> None:
    """With a covariance the observation narrows rate and energy together; the lot's spread goes into them."""
    keys = ("kinetics.k1", "kinetics.k2", "kinetics.energy_1", "kinetics.energy_2")
    rate, energy = 0.3**2, 3e3**2
    matrix = (
        (rate, rate, 0.0, 0.0),
        (rate, rate, 0.0, 0.0),
        (0.0, 0.0, energy, energy),
        (0.0, 0.0, energy, energy),
    )
    fitted = replace(SLOW, covariance=Covariance(keys, matrix))
    cold = film.History(NIGHT.time, NIGHT.temperature - 10.0)
    found = learn(fitted, Evidence("gelled", 1.1 * gel(1.0), cold))
    after = found.after
    assert found.spread_after < 0.6 * found.spread_before
    assert after.rate_sd == WITHIN_LOT
    assert after.covariance.matrix[2][2] < energy
    assert after.covariance.matrix[0][0] < rate + SLOW.rate_sd**2
    assert after.kinetics.energy_1 != fitted.kinetics.energy_1


def test_what_does_not_fit_the_resin_is_refused() -> None:
    """Tack-free of a polyester without wax; a kick without a mass; nothing before mixing."""
    with pytest.raises(OutOfValidity, match="tacky"):
        learn(load_resin("polyester-laminating"), Evidence("tack-free", 3600.0, NIGHT))
    with pytest.raises(OutOfValidity, match="mass"):
        learn(SLOW, Evidence("kicked", 3600.0, NIGHT))
    with pytest.raises(OutOfValidity, match="from mixing"):
        learn(SLOW, Evidence("gelled", 0.0, NIGHT))


def test_an_observation_survives_its_entry() -> None:
    """Written as plain values and read back, it teaches the same."""
    evidence = Evidence("gelled", gel(1.1), NIGHT, 0.15, None, 0.0, 7)
    again = from_plain(as_plain(evidence), 7)
    assert learn(SLOW, again).factor == pytest.approx(learn(SLOW, evidence).factor, rel=1e-3)
    with pytest.raises(ValueError, match="not an observation"):
        from_plain({**as_plain(evidence), "observed": "smelled"})


@pytest.mark.parametrize("beyond", [0.0, 1e-6, 0.03, 0.6, 450.0])
def test_an_observation_told_whole_quarters_after_mixing_is_kept(beyond: float) -> None:
    """The last quarter hour and the moment of telling may nearly meet: entries keep tenths of a second."""
    start = 1.7e9 + 1 / 3
    end = start + 8 * HOUR + beyond
    time = np.arange(start - HOUR, end, 300.0)
    path = along(start, end, time, np.full(time.shape, 293.15))
    assert path is not None
    told = Evidence("gelled", end - start, path)
    assert from_plain(as_plain(told)).history.time[-1] == pytest.approx(end - start, abs=0.06)
    assert along(start, start + 0.04, time, np.full(time.shape, 293.15)) is None


def test_a_remembered_step_gives_the_same_system_and_only_for_the_system_it_was_taken_into() -> None:
    """From memory as computed; a changed prior is computed anew."""
    evidence = Evidence("gelled", 0.8 * gel(1.0), NIGHT)
    lesson = learn(SLOW, evidence)
    again = from_plain({**as_plain(evidence), "memory": remembered(lesson.memory)})
    assert current_resin(SLOW, [again]) == lesson.after
    wrong = again._replace(elapsed=10.0 * again.elapsed)
    assert current_resin(SLOW, [wrong]) == lesson.after  # the memory speaks, not the time
    other = replace(SLOW, rate_sd=0.1)
    assert current_resin(other, [again]).rate_sd < 0.1
    assert current_resin(other, [again]) == learn(other, again).after


def test_nothing_seen_leaves_the_system_as_it_is() -> None:
    """No observation, no new version."""
    assert current_resin(SLOW, []) is SLOW


def test_what_is_more_than_ten_times_off_is_never_believed() -> None:
    """Six layers gelled after 3 min, or in ten days, are slips; the control, at a third, is believed."""
    expected = gel(1.0)
    for time, believed in ((180.0, False), (240.0 * 3600.0, False), (expected / 3.0, True)):
        night = film.History(np.array([0.0, 250.0 * 3600.0]), np.full(2, 286.15))
        found = lessons(SLOW, [Evidence("gelled", time, night, layer=f"L{n}") for n in range(6)])
        assert [each.contradicts for each in found[2:]] == [not believed] * 4
        assert (found[-1].after.kinetics.k2 / SLOW.kinetics.k2 > 2.0) == believed
