"""The verdict on one start: unknown is never go, and the checks say what the paths say."""

import json
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from msgspec.structs import replace

from curewatch.advice.alert.watchers import condensation
from curewatch.advice.judge import checks, limits
from curewatch.advice.judge.answer import Advice, Status, Verdict
from curewatch.advice.judge.situation import Place, Situation, Surfaced, Trouble, TroubleKind
from curewatch.advice.judge.verdict import _beyond, assess
from curewatch.answers.document import as_json
from curewatch.answers.tonight import tonight_document
from curewatch.materials import load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.model.air.outlook import Outlook, persistence
from curewatch.model.air.reading_errors import with_errors
from curewatch.phrases import Phrase
from curewatch.physics import moist_air
from curewatch.shed.look import accuracy
from curewatch.wording import Wording, plain_wording
from tests.examples import up_to

NOW = 1_795_000_000.0
SLOW = load_resin("epoxy-slow")


def shed(air_c: float, humidity: float, surface_c: float | None = None, *, error: float = 0.3) -> Surfaced:
    """Two sensors that spoke forty seconds ago."""
    air = air_c + 273.15
    below = air if surface_c is None else surface_c + 273.15
    pressure = float(moist_air.vapour_pressure(air, humidity))
    slope = float(moist_air.saturation_slope(air)) * humidity
    return Surfaced(
        NOW,
        air=Place("bench", "air", NOW - 40, air, error, humidity, 0.02, pressure, slope * error),
        surface=Place("hull", "surface", NOW - 40, below, error),
    )


def steady(situation: Surfaced, drift: float = 0.0) -> Outlook:
    """Paths that drift apart linearly: a plain outlook whose answers can be told beforehand."""
    assert situation.air is not None
    assert situation.surface is not None
    time = NOW + 900.0 * np.arange(4 * 72 + 1)
    away = np.linspace(-1, 1, 21)[:, None] * drift * (time - NOW) / 36000.0
    pressure = np.full(away.shape, situation.air.vapour_pressure)
    found = Outlook(
        time, situation.air.temperature + away, pressure, situation.surface.temperature + away, "demo", 0.0
    )
    return with_errors(found, accuracy(situation))


def ask(situation: Surfaced, drift: float = 0.0, **more: object) -> Advice:
    return assess(situation, SLOW, limits.for_resin(SLOW), steady(situation, drift), **more)  # type: ignore[arg-type]


def test_a_warm_dry_shed_is_a_go_with_every_check_named() -> None:
    """20 degC and 45 %: go, and each check says where its limit comes from."""
    said = ask(shed(20.0, 0.45))
    assert said.verdict is Verdict.GO
    names = {check.name for check in said.checks}
    assert names >= {"condensation-now", "condensation", "warm-enough", "dry-enough", "sets", "blush"}
    assert all(check.limit is not None and check.limit.source for check in said.checks)
    assert said.probability == 1.0


@pytest.mark.parametrize(
    ("situation", "check"),
    [
        (shed(20.0, 0.45, 10.0), "condensation-now"),  # dew point 7.7 degC: 2.3 K
        (shed(6.0, 0.45), "warm-enough"),
        (shed(38.0, 0.20), "cool-enough"),
        (shed(20.0, 0.84), "dry-enough"),  # 2 % of sensor error on 84 %
    ],
)
def test_each_line_that_is_crossed_makes_it_a_no_go(situation: Situation, check: str) -> None:
    """Wet surface, cold, hot, damp: each alone forbids."""
    said = ask(situation)
    assert said.verdict is Verdict.NO_GO
    assert said.check(check).status is Status.FAILS
    assert (said.check(check).spare or 0.0) < 0.0


@pytest.mark.parametrize(
    ("situation", "words"),
    [
        (shed(20.0, 0.45, 10.0), "near the dew point"),
        (shed(6.0, 0.45), "Too cold"),
        (shed(38.0, 0.20), "Too hot"),
        (shed(20.0, 0.88, 24.0), "too damp"),  # a warm hull in damp air
    ],
)
def test_the_headline_of_a_no_go_says_what_is_wrong_not_what_should_hold(
    situation: Situation, words: str
) -> None:
    """A "no-go: warm enough" would be read as its opposite by somebody in a hurry."""
    headline = str(ask(situation).headline)
    assert words in headline
    assert "enough" not in headline


@pytest.mark.parametrize("kind", list(TroubleKind))
def test_any_trouble_makes_even_a_perfect_shed_unknown(kind: TroubleKind) -> None:
    """One sensor of two silent, a doubtful clock: unknown, with what to do."""
    good = shed(20.0, 0.45)
    said = ask(replace(good, troubles=(Trouble(kind, "seen in a test", "hull", "surface"),)))
    assert said.verdict is Verdict.UNKNOWN
    assert said.remedies


def test_no_outlook_no_readings_or_a_resin_far_outside_its_range_is_unknown() -> None:
    """What nobody knows is not made up."""
    good = shed(20.0, 0.45)
    assert assess(good, SLOW, limits.for_resin(SLOW), None).verdict is Verdict.UNKNOWN
    assert assess(Situation(NOW), SLOW, limits.for_resin(SLOW), None).verdict is Verdict.UNKNOWN
    frozen = ask(shed(-5.0, 0.45))
    assert frozen.verdict is Verdict.UNKNOWN
    assert frozen.check("resin-range").status is Status.UNKNOWN
    (remedy,) = frozen.remedies
    assert "between 10.0 °C and 35.0 °C" in plain_wording().say(remedy, NOW)


def test_a_start_beyond_the_outlook_is_unknown() -> None:
    """Nobody looked that far ahead."""
    assert ask(shed(20.0, 0.45), start=NOW + 80 * 3600).verdict is Verdict.UNKNOWN


def test_a_dose_that_must_not_be_mixed_is_unknown_with_what_is_allowed() -> None:
    """5 per cent of peroxide in a polyester: no timeline is made up."""
    resin = load_resin("polyester-laminating")
    good = shed(20.0, 0.45)
    said = assess(good, resin, limits.for_resin(resin), steady(good), peroxide_percent=5.0)
    assert said.verdict is Verdict.UNKNOWN
    assert "Allowed" in said.remedies[0]


@settings(max_examples=up_to(5), deadline=None)
@given(some.floats(2, 32), some.floats(0.2, 0.98), some.floats(-6, 2), some.floats(0, 6))
def test_more_water_in_the_air_never_turns_a_no_go_into_a_go(
    air_c: float, humidity: float, colder: float, drift: float
) -> None:
    """Monotony: damper is never better."""
    drier = ask(shed(air_c, humidity * 0.95, air_c + colder), drift)
    damper = ask(shed(air_c, humidity, air_c + colder), drift)
    assert not (damper.verdict is Verdict.GO and drier.verdict is Verdict.NO_GO)


@settings(max_examples=up_to(5), deadline=None)
@given(some.floats(5, 30), some.floats(0.3, 0.9), some.floats(0, 8))
def test_a_worse_sensor_never_turns_a_no_go_into_a_go(air_c: float, humidity: float, drift: float) -> None:
    """The gate judges the margin less the error."""
    good, poor = (ask(shed(air_c, humidity, error=error), drift) for error in (0.2, 1.5))
    assert not (poor.verdict is Verdict.GO and good.verdict is Verdict.NO_GO)


@settings(max_examples=up_to(5), deadline=None)
@given(some.floats(5, 30), some.floats(0.3, 0.95), some.floats(0, 11))
def test_a_check_holds_exactly_when_enough_paths_hold(air_c: float, humidity: float, drift: float) -> None:
    """Status, spare and likelihood of each check on the coming hours agree."""
    said = ask(shed(air_c, humidity), drift)
    for check in said.checks:
        if (
            check.probability is None
            or check.status in {Status.CARE, Status.UNKNOWN}
            or check.name == "blush"
        ):
            continue
        assert (check.status is Status.HOLDS) == (check.probability >= 0.8 - 1e-9)
        assert (check.status is Status.HOLDS) == ((check.spare or 0.0) >= -1e-12)


def test_a_rest_that_the_sheet_asks_for_is_left_out_of_the_blush() -> None:
    """Half an hour in the pot: a foresight gathers less in a damp shed, and nothing else moves."""
    damp, said = shed(20.0, 0.75), []
    for rest in (None, 1800.0):
        resin = replace(SLOW, blush=replace(SLOW.blush, rest=rest))
        said.append(assess(damp, resin, limits.for_resin(resin), steady(damp)))
    plain, rested = ({check.name: check.value for check in one.checks} for one in said)
    assert 0.0 < (plain["blush"] or 0.0) - (rested["blush"] or 0.0) <= 1800.0
    assert {name: value for name, value in plain.items() if name != "blush"} == {
        name: value for name, value in rested.items() if name != "blush"
    }


def test_the_moments_come_in_order_and_each_band_is_ordered() -> None:
    """Working time, laminate from, gel, tack-free; early <= likely <= late."""
    situation = shed(18.0, 0.5)
    assert situation.air is not None
    out = persistence(NOW, 291.15, situation.air.vapour_pressure or 0.0, substrate=load_substrate("plywood"))
    said = assess(situation, SLOW, limits.for_resin(SLOW), out)
    likely = [said.moment(name).likely for name in ("working-time", "laminate-from", "gel", "tack-free")]
    assert likely == sorted(likely)  # type: ignore[type-var]
    for moment in said.timeline:
        if moment.late is not None:
            assert moment.early is not None
            assert moment.likely is not None
            assert NOW < moment.early <= moment.likely <= moment.late


def test_the_lot_s_own_uncertainty_widens_the_band_without_any_weather() -> None:
    """In a steady shed the band is the lot's: about exp(+-1.28 x 0.22) about the middle."""
    said = ask(shed(20.0, 0.45))
    gel = said.moment("gel")
    assert gel.early is not None
    assert gel.late is not None
    assert (gel.late - NOW) / (gel.early - NOW) == pytest.approx(np.exp(2 * 1.28 * SLOW.rate_sd), rel=0.15)


def test_a_batch_in_one_pot_has_its_own_moments_and_a_bigger_one_kicks_sooner() -> None:
    """Used up at three quarters of its life; 600 g before 100 g; and the big one may smoke."""
    small, big = ask(shed(20.0, 0.45), batch_mass=0.1), ask(shed(20.0, 0.45), batch_mass=0.6)
    kicks, used = small.moment("kicks"), small.moment("use-up")
    assert kicks.early is not None
    assert kicks.likely is not None
    assert kicks.late is not None
    assert used.likely is not None
    assert NOW < used.likely < kicks.likely
    assert kicks.early < kicks.likely < kicks.late
    assert used.likely - NOW == pytest.approx(0.75 * (kicks.likely - NOW))
    assert (big.moment("kicks").likely or 0.0) < kicks.likely
    assert "smoke" in big.moment("kicks").note
    assert any("smoke" in caution for caution in big.cautions)


def test_a_user_s_own_limit_decides_and_is_shown() -> None:
    """With an own margin of 1 K a surface 2.3 K above the dew point is dry enough."""
    situation = shed(20.0, 0.45, 10.5)
    own = limits.for_resin(SLOW, {"condensation_margin_k": 1.0})
    said = assess(situation, SLOW, own, steady(situation))
    check = said.check("condensation-now")
    assert check.status is Status.HOLDS
    assert tonight_document(said, plain_wording()).checks[2].limit_tag == "users-own"


def test_the_classed_workshop_rules_ask_for_eighteen_degrees() -> None:
    """published: classification-society text, 18 degC and 80 %."""
    rules = limits.for_resin(SLOW, rules="classed-workshop")
    assert rules.temperature_lowest.value == pytest.approx(291.15)
    assert rules.humidity_highest.value == 0.80
    situation = shed(17.0, 0.5)
    assert assess(situation, SLOW, rules, steady(situation)).verdict is Verdict.NO_GO


def test_the_margin_of_now_tells_where_its_surface_is_estimated() -> None:
    """Nobody is told of a probe that is not there, nor of an estimate where there is one."""
    probed = shed(20.0, 0.45)
    guessed = replace(probed, surface=replace(probed.surface, estimated=True))
    for known, reason in ((probed, ""), (guessed, "surface estimated, no probe")):
        found = checks.condensation_now(known, limits.for_resin(SLOW), checks.sensor_errors(known))
        assert found is not None
        assert found.reason == reason


def test_there_is_no_margin_of_now_without_air_its_vapour_and_a_surface() -> None:
    """Where one of them has no number nothing is told; the control, with all, is above."""
    known = shed(20.0, 0.45)
    assert known.air is not None
    for lacking in (
        replace(known, air=None),
        replace(known, air=replace(known.air, vapour_pressure=None)),
        replace(known, surface=replace(known.surface, temperature=None)),
    ):
        assert checks.condensation_now(lacking, limits.for_resin(SLOW), checks.sensor_errors(known)) is None


@pytest.mark.parametrize(
    ("peaks", "chance", "asked", "told"),
    [
        ([330.0, 343.15], 0.5, 0.8, None),
        ([343.15, 353.15, 348.15, 330.0], 0.5, 0.75, (348.15, -5.0)),
        ([343.15, 353.15, 348.15, 330.0], 0.5, 0.8, (353.15, -10.0)),
        ([353.15, 330.0, 330.0, 330.0], 0.75, 0.75, None),
        ([np.nan, np.nan], 0.0, 0.8, None),
    ],
)
def test_care_is_asked_for_where_a_layer_heats_itself_beyond_seventy_degrees(
    peaks: list[float], chance: float, asked: float, told: tuple[float, float] | None
) -> None:
    """Of the share of the paths that is asked for the hottest decides; 70 degC itself is none too many."""
    usual = limits.for_resin(SLOW)
    wanted = replace(usual, probability=replace(usual.probability, value=asked))
    found = checks.own_heat(SimpleNamespace(own_peak=np.array([peaks, [400.0] * len(peaks)])), wanted)
    if told is None:
        assert found is None
    else:
        assert found is not None
        assert (found.status, found.sense, found.probability) == (Status.CARE, "at most", chance)
        assert (found.value, found.spare) == pytest.approx(told)


@pytest.mark.parametrize(
    ("below", "above", "sense"),
    [(0.0, 0.0, None), (0.1, 0.0, "at least"), (0.0, 0.1, "at most"), (0.1, 0.1, "at least")],
)
def test_ten_kelvin_outside_its_range_a_resin_is_unknown(
    below: float, above: float, sense: str | None
) -> None:
    """Ten themselves are within; the value told is the one that is outside, first that of the cold."""
    low, high = SLOW.limits.lowest_temperature, SLOW.limits.highest_temperature
    seen = SimpleNamespace(
        lowest_temperature=np.full((1, 3), low - 10.0 - below),
        highest_temperature=np.full((1, 3), high + 10.0 + above),
    )
    found = checks.resin_range(seen, SLOW)
    if sense is None:
        assert found is None
    else:
        assert found is not None
        cold = sense == "at least"
        assert (found.status, found.sense) == (Status.UNKNOWN, sense)
        assert found.value == (low - 10.0 - below if cold else high + 10.0 + above)
        assert found.limit is not None
        assert found.limit.value == (low if cold else high)


def test_the_advice_is_json() -> None:
    """Nothing in it is not a number, and its verdict is one of three words."""
    plain = json.loads(as_json(tonight_document(ask(shed(12.0, 0.8), 4.0), plain_wording())))
    assert plain["verdict"] in {"go", "no-go", "unknown"}


@pytest.mark.parametrize(
    ("now", "coming", "words"),
    [
        (shed(20.0, 0.45, 11.0), None, "2.9 °C above"),  # 3.3 K as read, under 3 K once the error is off
        (shed(20.0, 0.45, 14.0), steady(shed(20.0, 0.45, 9.0)), "may sweat within 2 h"),
    ],
)
def test_the_alert_of_condensation_says_what_raised_it(
    now: Situation, coming: Outlook | None, words: str
) -> None:
    """A bare "3.9 K, limit 3.0 K" would look as if it held."""
    asked = limits.for_resin(load_resin("epoxy-slow"))
    (signal,) = condensation(now, asked, coming)
    said = Wording().say(signal.text)
    assert signal.raised
    assert words in said
    assert "3.0 °C" in said


@pytest.mark.parametrize(
    ("hours", "said", "remedy"),
    [
        (80.0, "Too far ahead: starts are judged until ", "choose an earlier start"),
        (-0.5, "That start has passed. Starts are judged from ", "choose a start from now on"),
    ],
)
def test_a_start_outside_the_coming_hours_is_told_in_words(hours: float, said: str, remedy: str) -> None:
    """Unknown, with the moments that can be judged on the shed's clock, and never seconds since 1970."""
    found = ask(shed(20.0, 0.5), start=NOW + hours * 3600)
    assert found.verdict is Verdict.UNKNOWN
    headline = Wording().say(found.headline, NOW)
    assert headline.startswith(said)
    assert ":" in headline.removeprefix(said)
    assert "e+" not in headline
    assert found.remedies[0] == remedy


@pytest.mark.parametrize(
    ("start", "told", "named"),
    [
        (NOW - 1.0, "has passed", NOW),
        (NOW, "Too far ahead", NOW + 70 * 900.0),
        (NOW + 1e6, "Too far ahead", NOW + 70 * 900.0),
    ],
)
def test_a_start_outside_the_coming_hours_names_the_nearest_that_can_be_judged(
    start: float, told: str, named: float
) -> None:
    """Of 18 hours in quarters: from the first, until half an hour before the last."""
    check, remedy = _beyond(SimpleNamespace(time=NOW + 900.0 * np.arange(73)), start)  # type: ignore[arg-type]
    assert isinstance(check.reason, Phrase)
    assert told in check.reason.words
    assert list(check.reason.numbers.values()) == [named]
    assert remedy == ("choose a start from now on" if start < NOW else "choose an earlier start")
