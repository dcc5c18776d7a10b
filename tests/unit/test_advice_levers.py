"""Every lever is verified on the real assessment: applied, it is a go; a little less of it, and it is not."""

from collections.abc import Callable
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.advice.judge import cautions, limits
from curewatch.advice.judge.answer import Advice, Check, Lever, Status, Verdict
from curewatch.advice.judge.course import Setting
from curewatch.advice.judge.question import Question, ask
from curewatch.advice.judge.situation import Place, Surfaced, Trouble, TroubleKind
from curewatch.advice.judge.weather import IntArray, Weather, weather
from curewatch.advice.remedy import levers as remedy
from curewatch.advice.remedy import trials
from curewatch.advice.remedy.levers import Means, advise, levers
from curewatch.advice.remedy.parameters import Parameter, parameters
from curewatch.answers.tonight import LeverDocument, TonightDocument, tonight_document
from curewatch.cli.screens import levers as screen
from curewatch.cli.screens import tonight
from curewatch.materials import load_resin
from curewatch.materials.chemistry import EPOXY, POLYESTER
from curewatch.materials.substrate import Substrate, load_substrate
from curewatch.model.air import shed, warming
from curewatch.model.air.outlook import Outlook
from curewatch.model.mass.laminate import LaminateLayer
from curewatch.physics import moist_air
from curewatch.shed.look import coming_hours
from curewatch.units import HOUR
from curewatch.wording import plain_wording

NOW = 1_795_000_000.0
WOOD, FOAM = load_substrate("plywood"), load_substrate("foam")
SHED = shed.assumed()


def asked(name: str, substrate: Substrate = WOOD) -> Question:
    resin = load_resin(name)
    return Question(resin, limits.for_resin(resin), substrate)


def situation(celsius: float, humidity: float, below: float = 0.4) -> Surfaced:
    kelvin = celsius + 273.15
    pressure = float(moist_air.vapour_pressure(kelvin, humidity))
    return Surfaced(
        NOW,
        air=Place("bench", "air", NOW - 40, kelvin, 0.3, humidity, 0.02, pressure, 20.0),
        surface=Place("hull", "surface", NOW - 40, kelvin - below, 0.3),
    )


def advised(question: Question, known: Surfaced, means: Means) -> Advice:
    """The answer for a start now, with its levers."""
    return advise(question, known, coming_hours(known, question.substrate), lambda: means)


def applied(question: Question, known: Surfaced, outlook: Outlook, lever: Lever, less: float = 0.0) -> Advice:
    """The assessment with a lever applied, or with a little less of it."""
    resin, start, target = question.resin, lever.start, lever.target or 0.0
    begin, until = lever.switch_on or NOW, lever.switch_off or NOW + HOUR
    if lever.kind == "warm":
        ramp = max(HOUR, lever.start - begin)
        outlook = warming.warmed(
            outlook, SHED, target - less, begin, until, substrate=question.substrate, ramp=ramp
        ).outlook
    elif lever.kind == "dry":
        outlook = warming.dried(outlook, SHED, target + less, begin, until).outlook
    elif lever.kind == "surface":
        outlook = warming.surface_warmed(outlook, target - less, begin, until, substrate=question.substrate)
    elif lever.kind == "start":
        start -= less
    return ask(replace(question, resin=resin), known, outlook, start)


LESS = {"warm": 0.5, "dry": 0.01, "surface": 0.5, "start": 900.0}


def verified(
    name: str,
    celsius: float,
    humidity: float,
    below: float,
    *,
    substrate: Substrate = WOOD,
    start: float = NOW,
) -> list[str]:
    """Check every lever of one shed; the kinds that were found."""
    question, known = asked(name, substrate), situation(celsius, humidity, below)
    outlook = coming_hours(known, substrate)
    assert outlook is not None
    if ask(question, known, outlook, start).verdict is Verdict.GO:
        return []
    other = asked("epoxy-fast" if name != "epoxy-fast" else "epoxy-slow", substrate)
    found = levers(question, known, outlook, start, Means(SHED, (other,)))
    assert [lever.effort for lever in found] == sorted(lever.effort for lever in found)
    for lever in (one for one in found if one.besides is None):
        if lever.kind == "resin":
            said = ask(other, known, outlook, lever.start)
            assert said.verdict is Verdict.GO
            continue
        if lever.kind in {"warm", "dry", "surface"}:
            assert "residual-current device" in str(lever.warning)
        whole = applied(question, known, outlook, lever)
        assert whole.verdict is Verdict.GO, (lever, whole.headline, whole.probability)
        little = LESS[lever.kind] * (-1.0 if lever.kind == "start" and lever.start < start else 1.0)
        less = applied(question, known, outlook, lever, little)
        assert less.verdict is not Verdict.GO, (lever, less.probability)
    return [lever.kind for lever in found]


def warming_alone(question: Question, known: Surfaced, outlook: Outlook) -> list[Parameter]:
    """To warm the shed: what else there is to turn is not searched for."""
    turned = parameters(question, known, outlook, NOW, Means(SHED))
    return [one for one in turned if one.kind == "warm"]


def test_levers_know_what_is_warm_below() -> None:
    """On a running layer less warmth does it than on the bare foam, and half a kelvin less does not."""
    known, bare = situation(8.0, 0.75), asked("epoxy-fast", FOAM)
    on_layer = replace(bare, below=(LaminateLayer(NOW - 0.5 * HOUR, 4e-3),))
    outlook = coming_hours(known, FOAM)
    assert outlook is not None
    (on_it,), (on_foam,) = (
        remedy._solved(question, known, outlook, warming_alone(question, known, outlook), Means(SHED))
        for question in (on_layer, bare)
    )
    assert (on_it.target or 0.0) < (on_foam.target or 0.0)
    assert applied(on_layer, known, outlook, on_it).verdict is Verdict.GO
    assert applied(on_layer, known, outlook, on_it, 0.5).verdict is not Verdict.GO


@pytest.mark.parametrize(
    ("name", "celsius", "humidity", "below", "kind"),
    [
        ("epoxy-slow", 11.0, 0.70, 0.4, "warm"),
        pytest.param("epoxy-fast", 16.0, 0.86, 0.2, "dry", marks=pytest.mark.long),
        pytest.param("epoxy-slow", 14.0, 0.60, 0.4, "resin", marks=pytest.mark.long),
    ],
)
def test_each_kind_of_lever_is_found_where_it_is_the_matter(
    name: str, celsius: float, humidity: float, below: float, kind: str
) -> None:
    """Cold shed, damp air, cold hull, slow hardener: each has its own lever, verified."""
    assert kind in verified(name, celsius, humidity, below)


@pytest.mark.long
def test_a_cold_rudder_stock_is_warmed_by_a_blanket() -> None:
    """Thick timber stays near the dew point of warm air: its own surface is a lever, and the air's damp.

    The air is dry enough as it is, if it is kept so through the night.
    """
    thick = load_substrate("timber", 0.1)
    kinds = verified("epoxy-fast", 18.0, 0.65, 4.0, substrate=thick, start=NOW + HOUR)
    assert set(kinds) >= {"surface", "dry"}


@pytest.mark.long
@pytest.mark.parametrize("seed", range(20))
def test_levers_of_random_sheds_hold_and_a_little_less_does_not(seed: int) -> None:
    """Twenty sheds at random between cold and mild, dry and wet."""
    random = np.random.default_rng(seed)
    name = ["epoxy-slow", "epoxy-fast", "epoxy-low-blush", "polyester-laminating"][seed % 4]
    verified(name, random.uniform(4, 18), random.uniform(0.5, 0.92), random.uniform(0.0, 2.0))


def both_applied(
    question: Question,
    known: Surfaced,
    outlook: Outlook,
    lever: Lever,
    *,
    less: float = 0.0,
    damper: float = 0.0,
) -> Advice:
    """The assessment with a pair applied: warmth, and drier air or another resin beside it."""
    assert lever.besides is not None
    assert lever.switch_on is not None
    assert lever.switch_off is not None
    there = warming.warmed(
        outlook,
        SHED,
        (lever.target or 0.0) - less,
        lever.switch_on,
        lever.switch_off,
        substrate=question.substrate,
        ramp=max(HOUR, lever.start - lever.switch_on),
    ).outlook
    if lever.besides.kind == "dry":
        humidity = (lever.besides.target or 1.0) + damper
        there = warming.dried(there, SHED, humidity, lever.switch_on, lever.switch_off).outlook
    return ask(question, known, there, lever.start)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(6))
def test_two_are_tried_together_where_no_single_one_does_it(seed: int) -> None:
    """Cold, wet sheds, a strict limit of humidity: both together are a go, a little less of either is not."""
    random = np.random.default_rng(seed)
    question = asked("epoxy-slow")
    known = situation(random.uniform(4.0, 10.0), random.uniform(0.85, 0.95))
    dry = replace(question.limits.humidity_highest, value=0.55)
    strict = replace(question, limits=replace(question.limits, humidity_highest=dry))
    outlook = coming_hours(known, WOOD)
    assert outlook is not None
    found = levers(strict, known, outlook, NOW, Means(SHED, (asked("epoxy-fast"),)))
    doing = [lever for lever in found if lever.kind != "start"]
    assert doing
    for lever in (one for one in doing if one.besides is not None):
        assert lever.besides is not None
        of = strict if lever.besides.kind == "dry" else asked("epoxy-fast")
        assert both_applied(of, known, outlook, lever).verdict is Verdict.GO
        assert both_applied(of, known, outlook, lever, less=0.5).verdict is not Verdict.GO
        if lever.besides.kind == "dry":
            assert both_applied(of, known, outlook, lever, damper=0.01).verdict is not Verdict.GO


def test_no_lever_mends_a_sensor() -> None:
    """Unknown stays unknown: what to do is to see to the sensor."""
    known = replace(
        situation(8.0, 0.8), troubles=(Trouble(TroubleKind.SILENT, "nothing for 12 min", "hull", "surface"),)
    )
    said = advised(asked("epoxy-slow"), known, Means(SHED))
    assert said.verdict is Verdict.UNKNOWN
    assert not said.levers


@pytest.mark.long
def test_a_batch_that_kicks_too_soon_is_made_smaller_until_it_does_not() -> None:
    """Bisection on the pot: that mass lasts, ten grams more does not."""
    question = replace(asked("epoxy-fast"), batch_mass=1.5)
    said = advised(question, situation(22.0, 0.40), Means(SHED))
    smaller = next(lever for lever in said.levers if lever.kind == "batch")
    assert smaller.target is not None
    for mass, verdict in ((smaller.target, Verdict.GO), (smaller.target + 0.010, Verdict.NO_GO)):
        again = advised(replace(question, batch_mass=mass), situation(22.0, 0.40), Means(SHED))
        assert again.verdict is verdict
    assert part(smaller).batch_mass_g == pytest.approx(1000.0 * smaller.target, abs=0.06)


@pytest.mark.long
def test_a_heater_too_weak_for_it_is_no_lever() -> None:
    """What the heater cannot give is not proposed, and said; one that gives it is as good as unknown."""
    question, known = asked("epoxy-slow"), situation(11.0, 0.70)
    outlook = coming_hours(known, WOOD)
    assert outlook is not None
    free = levers(question, known, outlook, NOW, Means(SHED))
    needed = min(lever.power for lever in free if lever.power)
    assert levers(question, known, outlook, NOW, Means(SHED, power=1.01 * needed)) == free
    weak = Means(SHED, power=0.5 * needed)
    assert not [lever for lever in levers(question, known, outlook, NOW, weak) if lever.power]
    said = advised(question, known, weak)
    assert any("the heater gives" in str(remedy) for remedy in said.remedies)


def document(said: Advice) -> TonightDocument:
    return tonight_document(said, plain_wording())


def part(lever: Lever) -> LeverDocument:
    """A lever as its part of a document."""
    return document(Advice(Verdict.NO_GO, "", NOW, NOW, "", "", levers=(lever,))).levers[0]


@cache
def warmed_by(name: str, burner: str = "") -> Advice:
    """A cold shed's answer, with its heater as given; asked for once by all tests."""
    return advised(asked(name), situation(11.0, 0.70), Means(SHED, burner=burner))


def test_an_unflued_burner_is_never_a_lever_and_the_answer_says_why() -> None:
    """A burner in the configuration changes no lever, is refused by name, and the heat says its dangers."""
    electric, burning = warmed_by("epoxy-slow"), warmed_by("epoxy-slow", "propane")
    assert burning.levers == electric.levers
    refusal = " ".join(str(remedy) for remedy in burning.remedies)
    assert "Do not light the propane burner" in refusal
    shown = " ".join(" ".join(tonight.lines(document(burning), plain_wording(), why=True)).split())
    assert "carbon monoxide kills, and its water causes blush" in shown
    assert "vent it" not in shown
    warm = next(lever for lever in electric.levers if lever.kind == "warm")
    for words in ("carbon monoxide", "electric or flued heat only"):
        assert words in str(warm.warning)
    assert "propane" not in " ".join(tonight.lines(document(electric), plain_wording(), why=True))


@pytest.mark.parametrize("name", ["epoxy-slow", "polyester-laminating"])
def test_a_heating_says_its_end_its_power_who_stays_and_the_code_and_warns_first(name: str) -> None:
    """Until when, how much, whether somebody stays, the residual-current device; the caution before it."""
    warm = Lever(
        "warm", NOW, 1.0, target=291.0, switch_on=NOW, switch_off=NOW + 8 * HOUR, power=1500.0, energy=3e7
    )
    question = asked(name)
    caution = cautions.for_heating(question.resin.chemistry)
    rise = Lever("surface", NOW, 1.0, target=4.0, switch_on=NOW, switch_off=NOW + 8 * HOUR, area_power=80.0)
    for lever, power in ((warm, "1.5 kW"), (rise, "80 W/m²")):
        said = " ".join(screen.lines([part(replace(lever, warning=caution))], plain_wording(), NOW))
        for words in (" until ", power, "Stay with it", "residual-current device", "local electrical code"):
            assert words in said, (lever.kind, words)
        assert said.index("WARNING") < said.index("1. Warm the")
    assert ("cannot ignite vapour" in caution) == question.resin.chemistry.styrene


def test_a_surface_is_warmed_by_a_blanket_and_the_pot_never() -> None:
    """What the search itself finds: power by the film of still air on both faces, and the words with it."""
    thick = load_substrate("timber", 0.1)
    question, known = asked("epoxy-fast", thick), situation(18.0, 0.65, 4.0)
    outlook = coming_hours(known, thick)
    assert outlook is not None
    found = levers(question, known, outlook, NOW + HOUR, Means(SHED))
    one = next(lever for lever in found if lever.kind == "surface")
    assert one.area_power == pytest.approx(20.0 * (one.target or 0.0))
    said = " ".join(screen.lines([part(one)], plain_wording(), NOW))
    for words in ("blanket with a thermostat", "never a lamp over wet resin", "never warm the mixed pot"):
        assert words in said
    assert "surface and resin" not in said
    assert "residual-current" in said


def test_peel_ply_is_needed_besides_and_turns_no_answer() -> None:
    """Apart in the values, in JSON and on the screen."""
    said = warmed_by("epoxy-slow")
    assert said.check("blush").status is Status.CARE
    assert said.needed_besides
    assert all("peel" not in lever.kind for lever in said.levers)
    answer = document(said)
    assert "peel ply" in answer.needed_besides[0].text
    shown = tonight.lines(answer, plain_wording(), why=True)
    turns, besides = shown.index("What turns the answer"), shown.index("Needed besides")
    assert not [line for line in shown[turns:besides] if "peel ply" in line]
    assert "peel ply" in shown[besides + 1]


@pytest.mark.long
def test_a_weak_go_is_told_how_to_become_a_firm_one() -> None:
    """Where 80 to 90 % of the paths hold it stays a go, and every lever then holds on 90 %."""
    weak = None
    for humidity in np.arange(0.40, 0.70, 0.02):
        said = advised(asked("epoxy-slow"), situation(18.0, float(humidity)), Means(SHED))
        if said.verdict is Verdict.GO and (said.probability or 0.0) < 0.9 and said.levers:
            weak = said
            break
    assert weak is not None
    assert "weak go" in str(weak.remedies[0])
    doing = weak.levers
    assert doing
    assert all((lever.probability or 0.0) >= 0.9 for lever in doing)


def test_drying_says_what_electricity_asks_in_a_damp_place() -> None:
    """A dehumidifier that is proposed carries its caution; near styrene its motors are named too."""
    question, known = asked("epoxy-fast"), situation(16.0, 0.86, 0.2)
    outlook = coming_hours(known, WOOD)
    assert outlook is not None
    dry = next(one for one in levers(question, known, outlook, NOW, Means(SHED)) if one.kind == "dry")
    assert dry.warning == cautions.for_drying(EPOXY)
    assert "residual-current device" in str(dry.warning)
    assert "styrene vapour burns" in cautions.for_drying(POLYESTER)


# ---- the parts, by hand


@pytest.mark.parametrize(
    ("heater", "takes", "strong"),
    [(None, 900.0, True), (500.0, None, True), (900.0, 900.0, True), (899.0, 900.0, False)],
)
def test_a_heater_is_strong_enough_up_to_what_it_gives(
    heater: float | None, takes: float | None, strong: bool
) -> None:
    """Also one of which nothing is known; and the least that is too much for it is told."""
    means = Means(SHED, power=heater)
    each_of = [
        Lever("warm", NOW, 1.0, power=takes),
        Lever("warm", NOW, 1.0, power=2000.0),
        Lever("dry", NOW, 1.0),
    ]
    assert remedy._strong_enough(each_of[0], means) == strong
    said = remedy._too_weak(each_of, means)
    if heater is None:
        assert said == ()
    else:
        needed = "2.0" if strong else "0.9"
        assert said == (
            f"Warming the shed enough takes {needed} kW; the heater gives {heater / 1000:.1f} kW",
        )
    assert remedy._too_weak(each_of[2:], means) == ()


def test_a_weak_go_and_a_no_go_have_their_remarks() -> None:
    """A weak go without a lever has none; a no-go without one says what else there is."""
    (weak,) = remedy._remarks(weak=True, any_=True)
    assert plain_wording().say(weak) == "A weak go; with one of these the chance is 9 in 10:"
    (none,) = remedy._remarks(weak=False, any_=False)
    assert "No change turns it within a day" in none
    assert remedy._remarks(weak=True, any_=False) == remedy._remarks(weak=False, any_=True) == ()
    question = asked("epoxy-slow")
    firmer = remedy._firmer(question)
    assert firmer.limits.probability == replace(question.limits.probability, value=0.9)
    assert replace(firmer, limits=question.limits) == question


@pytest.mark.parametrize(
    ("early", "lasts"), [(None, True), (200.0, True), (199.9, False)], ids=["never", "just", "no"]
)
def test_a_batch_lasts_if_it_is_spread_before_a_fast_lot_is_thick(
    monkeypatch: pytest.MonkeyPatch, early: float | None, lasts: bool
) -> None:
    """Two hundred grams at a gram a second."""
    monkeypatch.setattr(
        remedy,
        "pot_moments",
        lambda _batch, mixed, _air: [SimpleNamespace(early=None if early is None else mixed + early)],
    )
    question = replace(asked("epoxy-fast"), use_rate=0.001)
    assert remedy._lasts(question, 0.2, 293.15, "cup") == lasts


def lasting(most: float, shape: str = "cup") -> Callable[..., bool]:
    """Batches of this shape last up to a mass. [kg]"""
    return lambda _question, mass, _air, of: of == shape and mass <= most


def test_the_largest_batch_is_found_to_five_grams(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 1.5 kg asked for; where even twenty grams do not last there is none, and a tray may do."""
    question = replace(asked("epoxy-fast"), batch_mass=1.5)
    said = Advice(Verdict.NO_GO, "", NOW, NOW, "", "")
    for most, found in (
        (0.3, [("batch", 0.5)]),
        (0.3146, [("batch", 0.5)]),
        (0.02, [("batch", 0.5)]),
        (0.0199, []),
    ):
        monkeypatch.setattr(remedy, "_lasts", lasting(most))
        smaller = remedy._smaller(question, said, 293.15)
        assert [(each.kind, each.effort) for each in smaller] == found
        assert all(most - 0.005 < (each.target or 0.0) <= most for each in smaller)
    monkeypatch.setattr(remedy, "_lasts", lasting(2.0, "tray"))
    assert remedy._smaller(question, said, 293.15) == [Lever("tray", NOW, 0.4, target=1.5)]
    assert remedy._smaller(replace(question, batch_mass=None), said, 293.15) == []


@pytest.mark.parametrize(
    ("goes", "guess", "away", "found"),
    [
        (range(6, 10), 5, 1, 6),
        (range(6, 20), 8, 1, 6),
        (range(6, 20), 6, 1, 6),
        (range(6, 20), 4 + 2 * remedy.ROUNDS, 1, 6),
        (range(12, 20), 5, 1, 12),
        (range(4), 5, -1, 3),
        (range(4), 2, -1, 3),
        (range(1), 1, -1, 0),
        (range(1), 2, -1, 0),
        (range(19, 20), 17, 1, 19),
        (range(0), 5, 1, None),
        (range(0), 15, -1, None),
    ],
)
def test_the_first_start_that_is_a_go_is_looked_for_from_a_guess(
    monkeypatch: pytest.MonkeyPatch, goes: range, guess: int, away: int, found: int | None
) -> None:
    """Away from the start that was asked for; of twenty, by number."""
    monkeypatch.setattr(
        remedy.trials,
        "judge",
        lambda _question, _known, tried: [SimpleNamespace(go=each.start in goes) for each in tried],
    )
    question, known = asked("epoxy-slow"), situation(8.0, 0.8)
    outlook = coming_hours(known, WOOD)
    assert outlook is not None
    settled = remedy._settled_start(question, known, outlook, np.arange(20.0), (guess, away))
    assert (None if settled is None else settled[0]) == found


def test_what_is_needed_besides_names_peel_ply_first() -> None:
    """Only checks that ask for care, in their order but for blush."""
    seen = [
        Check(name, name, status, "", reason=f"about {name}")
        for name, status in (
            ("dry-enough", Status.CARE),
            ("warm-enough", Status.HOLDS),
            ("blush", Status.CARE),
            ("batch", Status.FAILS),
        )
    ]
    said = Advice(Verdict.NO_GO, "", NOW, NOW, "", "", checks=tuple(seen))
    assert remedy._besides(said) == (remedy.PEEL_PLY, "about dry-enough")


@pytest.mark.parametrize(
    ("beside", "said"), [((), ()), (("together",), ()), (("together", "condensation"), (remedy.FEWER,))]
)
def test_plies_that_boil_are_named_where_something_else_fails_too(
    beside: tuple[str, ...], said: tuple[str, ...]
) -> None:
    """Where they alone are the matter the headline and the first lever say it."""
    failing = tuple(Check(name, name, Status.FAILS, "") for name in ("own-heat", *beside))
    assert remedy._besides(Advice(Verdict.NO_GO, "", NOW, NOW, "", "", checks=failing)) == said


@pytest.mark.parametrize(
    ("verdict", "chance", "failing", "expected"),
    [
        (Verdict.NO_GO, 0.1, ["dry-enough"], ["warm"]),
        (Verdict.NO_GO, 0.9, ["batch"], ["batch"]),
        (Verdict.NO_GO, 0.1, ["batch", "dry-enough"], ["batch", "warm"]),
        (Verdict.NO_GO, 0.1, ["own-heat"], ["thinner", "warm"]),
        (Verdict.GO, 0.89, [], ["warm"]),
        (Verdict.GO, 0.9, [], []),
        (Verdict.UNKNOWN, None, ["reading-air", "dry-enough"], []),
        (Verdict.NO_GO, None, ["reading-air", "below"], []),
    ],
)
def test_which_levers_are_looked_for(
    monkeypatch: pytest.MonkeyPatch,
    verdict: Verdict,
    chance: float | None,
    failing: list[str],
    expected: list[str],
) -> None:
    """A smaller batch where the batch fails, fewer plies where they boil, others where the go is weak, too.

    Those of a weak go are for a firm one. None rests on a reading that cannot be trusted.
    """
    known = situation(18.0, 0.5)
    stands = {name: Status.UNKNOWN if name == "reading-air" else Status.FAILS for name in failing}
    found = tuple(Check(name, name, status, "") for name, status in stands.items())
    said = Advice(verdict, "", NOW, NOW, "", "", checks=found, probability=chance)
    monkeypatch.setattr(remedy, "ask", lambda *_: said)
    for_share = list[float]()

    def every(question: Question, *_: object) -> tuple[Lever, ...]:
        for_share.append(question.limits.probability.value)
        return (Lever("warm", NOW, 2.0),)

    monkeypatch.setattr(remedy, "all_levers", every)
    monkeypatch.setattr(remedy, "_smaller", lambda *_: [Lever("batch", NOW, 0.5)])
    monkeypatch.setattr(remedy, "_thinner", lambda *_: [Lever("thinner", NOW, 0.3)])
    asked_for = list[Means]()

    def means() -> Means:
        asked_for.append(Means(SHED))
        return asked_for[-1]

    answer = advise(asked("epoxy-slow"), known, coming_hours(known, WOOD), means)
    assert [lever.kind for lever in answer.levers] == expected
    assert len(asked_for) == ("warm" in expected)
    usual = asked("epoxy-slow").limits.probability.value
    assert for_share == ([0.9 if verdict is Verdict.GO else usual] if "warm" in expected else [])


def test_another_resin_is_proposed_where_it_is_a_go_as_things_are(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of three on the shelf, one is; worth two hours of waiting. What fails as it is laid is not followed."""
    fast, slow, other = asked("epoxy-fast"), asked("epoxy-slow"), asked("epoxy-laminating")
    monkeypatch.setattr(
        remedy.trials,
        "judge",
        lambda question, *_: [SimpleNamespace(go=question is not slow, probability=0.85)],
    )

    def go_as_laid(question: Question, there: Weather, first: IntArray, laid: Setting) -> list[bool]:
        assert first.tolist() == [0]
        assert laid.set.tolist() == [[0.0] * there.members]
        return [question is not other]

    monkeypatch.setattr(remedy, "_go", go_as_laid)
    known = situation(18.0, 0.5)
    outlook = coming_hours(known, WOOD)
    assert outlook is not None
    found = remedy._other_resins(known, outlook, NOW, Means(SHED, (slow, fast, other)))
    assert found == [Lever("resin", NOW, 2.0, 0.85, resin="epoxy-fast")]


QUARTERS = 900.0 * np.ceil(NOW / 900.0) + 900.0 * np.arange(200)  # UTC [s]


def starts_that_go(monkeypatch: pytest.MonkeyPatch, goes: set[int]) -> list[tuple[int, int, int]]:
    """Stand in for all that is reckoned: of the starts looked at these are a go, and a guess is right.

    Found are the guesses: how many starts, which, and which way it is looked on from there.
    """
    guesses = list[tuple[int, int, int]]()

    def settled(*asked_for: object) -> tuple[float, object]:
        times, (guess, away) = asked_for[3], asked_for[4]  # type: ignore[misc]
        guesses.append((times.size, guess, away))
        return float(times[guess]), SimpleNamespace(probability=0.85)

    monkeypatch.setattr(remedy, "_settled_start", settled)
    monkeypatch.setattr(remedy.trials, "thinned", lambda question, outlook, _: (question, outlook))
    monkeypatch.setattr(remedy.trials, "set_of", lambda *_: None)
    monkeypatch.setattr(remedy, "weather", lambda *_: SimpleNamespace(members=10))
    monkeypatch.setattr(remedy, "until_set", lambda _, first, __: first)
    monkeypatch.setattr(remedy.checks, "lines", lambda *_: ())
    shares = dict.fromkeys(goes, 0.8)
    monkeypatch.setattr(
        remedy.checks,
        "holds",
        lambda first, _: np.array([[each < 10 * shares.get(at, 0.7) for each in range(10)] for at in first]),
    )
    return guesses


@pytest.mark.parametrize(
    ("goes", "asked_at", "guessed", "efforts"),
    [
        ({3, 5, 20, 30}, 10, [(5, -1), (20, 1)], [1.25, 2.5]),
        ({3, 10, 11}, 10, [(3, -1), (11, 1)], [1.75, 0.25]),
        ({0}, 10, [(0, -1)], [2.5]),
        ({96}, 10, [(96, 1)], [21.5]),
        (set(), 10, [], []),
    ],
)
def test_the_nearest_starts_before_and_after_are_found(
    monkeypatch: pytest.MonkeyPatch,
    goes: set[int],
    asked_at: int,
    guessed: list[tuple[int, int]],
    efforts: list[float],
) -> None:
    """A day of quarters of an hour, from the next whole one; worth the hours that they lie away."""
    guesses = starts_that_go(monkeypatch, goes)
    question, known = asked("epoxy-slow"), replace(situation(18.0, 0.5), at=float(QUARTERS[4]) - remedy.NOW)
    outlook = coming_hours(situation(18.0, 0.5), WOOD)
    assert outlook is not None
    start = float(QUARTERS[4 + asked_at])
    found = remedy._other_starts(question, known, outlook, start)
    assert guesses == [(97, *each) for each in guessed]
    assert [lever.start for lever in found] == [QUARTERS[4 + place] for place, _ in guessed]
    assert [lever.effort for lever in found] == efforts
    assert all((lever.kind, lever.probability) == ("start", 0.85) for lever in found)
    late = replace(known, at=known.at + 1.0)  # a second past a quarter: the next one is the first
    assert all(lever.start in QUARTERS[5:] for lever in remedy._other_starts(question, late, outlook, start))


def test_other_starts_are_looked_at_from_the_next_whole_quarter_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """The weather that they meet begins there, too."""
    starts_that_go(monkeypatch, set())
    began = list[float]()
    monkeypatch.setattr(remedy, "weather", lambda _, at: began.append(at) or SimpleNamespace(members=10))
    known = replace(situation(18.0, 0.5), at=float(QUARTERS[4]) - remedy.NOW - 1.0)
    outlook = coming_hours(situation(18.0, 0.5), WOOD)
    assert outlook is not None
    assert remedy._other_starts(asked("epoxy-slow"), known, outlook, float(QUARTERS[10])) == []
    assert began == [QUARTERS[4]]


def test_a_guess_that_settles_on_the_start_itself_or_nowhere_is_no_lever(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Nothing is proposed then."""
    starts_that_go(monkeypatch, {5, 20})
    question, known = asked("epoxy-slow"), situation(18.0, 0.5)
    outlook = coming_hours(known, WOOD)
    assert outlook is not None
    start = float(QUARTERS[10])
    for settled in (None, (start, SimpleNamespace(probability=0.9))):
        monkeypatch.setattr(remedy, "_settled_start", lambda *_, found=settled: found)
        assert remedy._other_starts(question, known, outlook, start) == []


def test_what_was_found_is_held_for_the_fewest_hours_that_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of eight: by place, in hours; the longest is known to do, and is not tried again."""
    found = [SimpleNamespace(step="known", _replace=lambda step: step) for _ in range(8)]
    ladders = list[object]()

    def climbed(_question: object, _known: object, each_of: list[object]) -> list[object]:
        ladders.extend(each_of)
        return [SimpleNamespace(place=place) for place in range(8)]

    monkeypatch.setattr(remedy, "solve", lambda *_: found)
    monkeypatch.setattr(remedy, "climb", climbed)
    monkeypatch.setattr(remedy, "priced", lambda _q, _o, step, hours, _m: (step.place, hours / HOUR))
    question, known = asked("epoxy-slow"), situation(18.0, 0.5)
    outlook = coming_hours(known, WOOD)
    assert outlook is not None
    made = remedy._solved(question, known, outlook, (), Means(SHED))
    hours = [4.0, 8.0, 12.0, 16.0, 20.0, 24.0, 30.0, remedy.HELD / HOUR]
    assert made == list(enumerate(hours))
    amount = SimpleNamespace(
        value=2.0, parameter=SimpleNamespace(start=NOW, change=lambda _, value, until: (value, until))
    )
    for place, each in enumerate(hours):
        held = remedy._held(outlook, amount, place)  # type: ignore[arg-type]
        assert (*held.outlook, held.start) == (2.0, NOW + each * HOUR, NOW)  # type: ignore[misc]
    assert [(each.rungs, each.known) for each in ladders] == [(8, {7: "known"})] * 8  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("single", "together"),
    [
        ([Lever("start", NOW, 3.0)], True),
        ([Lever("warm", NOW, 3.0, power=900.0)], False),
        ([Lever("warm", NOW, 3.0, power=1100.0)], True),
        ([], True),
    ],
)
def test_two_levers_are_tried_where_no_single_one_can_be_used(
    monkeypatch: pytest.MonkeyPatch, single: list[Lever], together: bool
) -> None:
    """To wait is none, nor what the heater of a kilowatt is too weak for; the least effort first."""
    monkeypatch.setattr(remedy, "_other_starts", lambda *_: single)
    monkeypatch.setattr(remedy, "_other_resins", lambda *_: [])
    monkeypatch.setattr(remedy, "parameters", lambda *_: ())
    monkeypatch.setattr(remedy, "_solved", lambda *_: [])
    monkeypatch.setattr(remedy, "two_together", lambda *_: [Lever("dry", NOW, 1.0)])
    known = situation(18.0, 0.5)
    outlook = coming_hours(known, WOOD)
    assert outlook is not None
    every = remedy.all_levers(asked("epoxy-slow"), known, outlook, NOW, Means(SHED, power=1000.0))
    assert [lever.kind for lever in every] == ["dry"] * together + [lever.kind for lever in single]


def test_the_air_at_a_start_is_the_middle_of_the_paths_between_their_moments() -> None:
    """Of three paths the one between the others, half way from one quarter of an hour to the next."""
    known = situation(18.0, 0.5)
    outlook = coming_hours(known, WOOD)
    assert outlook is not None
    steps = np.arange(outlook.time.size)
    paths = 290.0 + np.array([0.0, 1.0, 5.0])[:, None] + steps
    three = replace(outlook, air_temperature=paths)
    assert remedy._air_at(three, float(outlook.time[2]) + 450.0) == pytest.approx(293.5)


def test_a_layer_that_sets_sooner_is_never_less_of_a_go() -> None:
    """So a start that fails as if it set at once is followed no further."""
    known, question = situation(18.0, 0.6), asked("epoxy-slow")
    outlook = coming_hours(known, WOOD)
    assert outlook is not None
    there, first = weather(outlook, NOW + 60.0), np.arange(0, 96, 4)
    rng, went, only_sooner = np.random.default_rng(7), 0, 0
    for _ in range(40):
        later = 24 * HOUR * rng.random(1) * rng.random((first.size, there.members))
        sooner, film = later * rng.random(later.shape), np.full(later.shape, np.nan)
        go, before = (remedy._go(question, there, first, Setting(each, film)) for each in (later, sooner))
        assert not (go & ~before).any()
        went, only_sooner = went + int(go.sum()), only_sooner + int((before & ~go).sum())
    assert went > 10
    assert only_sooner > 10


def test_a_rung_that_boils_says_nothing_of_the_cooler_ones() -> None:
    """Six millimetres on foam: too cold as it is, and too hot by its own heat in the warmest shed tried."""
    question = replace(asked("epoxy-slow", FOAM), thickness=6e-3)
    known = situation(7.0, 0.5)
    outlook = coming_hours(known, FOAM)
    assert outlook is not None
    hottest = Lever("warm", NOW, 0.0, target=303.15, switch_on=NOW, switch_off=NOW + 36 * HOUR)
    boils = applied(question, known, outlook, hottest)
    assert [one.name for one in boils.checks if one.name == "own-heat" and one.status is Status.FAILS]
    warm = next(one for one in levers(question, known, outlook, NOW, Means(SHED)) if one.kind == "warm")
    assert applied(question, known, outlook, warm).verdict is Verdict.GO
    assert applied(question, known, outlook, warm, LESS["warm"]).verdict is not Verdict.GO


@pytest.mark.parametrize(
    ("asked_for", "cool", "goes", "found"),
    [
        *((12.0, 4, True, 4), (12.0, 11, True, 11), (2.5, 2, True, 2), (2.0, 2, True, 1)),
        *((12.0, 0, True, 0), (1.0, 1, True, 0), (12.0, 4, False, 0)),
    ],
)
def test_the_most_plies_that_stay_cool_are_found(
    monkeypatch: pytest.MonkeyPatch, asked_for: float, cool: int, goes: bool, found: int
) -> None:
    """Fewer than asked for, down to one; none is told where they are no go for another reason."""
    ply = 0.5e-3
    question = replace(asked("epoxy-slow"), thickness=asked_for * ply, ply=ply)
    known = situation(18.0, 0.5)
    outlook = coming_hours(known, WOOD)
    assert outlook is not None

    def followed(thinner: Question, *_: object) -> list[SimpleNamespace]:
        return [SimpleNamespace(there=None, found=thinner.thickness)]

    monkeypatch.setattr(remedy.trials, "followed", followed)

    def seen_of(_: object, first: IntArray, thickness: float) -> float:
        assert first.tolist() == [0]
        return thickness

    def met(*_: object, for_blush: bool, **__: object) -> None:
        assert not for_blush

    monkeypatch.setattr(remedy, "weather", met)
    monkeypatch.setattr(remedy, "until_set", seen_of)
    monkeypatch.setattr(
        remedy.checks, "own_heat", lambda seen, _: None if seen < (cool + 0.1) * ply else "hot"
    )
    monkeypatch.setattr(
        remedy.trials, "trial_of", lambda *given: trials.Trial(goes, round(given[3] / ply) / 100)
    )
    expected = [Lever("thinner", NOW, 0.3, found / 100, target=found)] if found else []
    assert remedy._thinner(question, known, outlook, NOW) == expected
