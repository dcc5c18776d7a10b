"""Every lever is verified on the real assessment: applied, it is a go; a little less of it, and it is not."""

from dataclasses import replace

import numpy as np
import pytest

from curewatch.advice.judge import cautions, limits
from curewatch.advice.judge.answer import Advice, Lever, Status, Verdict
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Place, Surfaced, Trouble, TroubleKind
from curewatch.advice.judge.verdict import assess
from curewatch.advice.remedy.levers import Means, advise, levers
from curewatch.answers.tonight import LeverDocument, TonightDocument, tonight_document
from curewatch.cli.screens import levers as screen
from curewatch.cli.screens import tonight
from curewatch.materials import load_resin
from curewatch.materials.chemistry import EPOXY, POLYESTER
from curewatch.materials.substrate import Substrate, load_substrate
from curewatch.model.air import shed, warming
from curewatch.model.air.outlook import Outlook
from curewatch.physics import moist_air
from curewatch.shed.look import coming_hours
from curewatch.units import HOUR
from curewatch.wording import plain_wording

NOW = 1_795_000_000.0
WOOD = load_substrate("plywood")
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
    return assess(known, resin, question.limits, outlook, start)


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
    if assess(known, question.resin, question.limits, outlook, start).verdict is Verdict.GO:
        return []
    other = asked("epoxy-fast" if name != "epoxy-fast" else "epoxy-slow", substrate)
    found = levers(question, known, outlook, start, Means(SHED, (other,)))
    assert [lever.effort for lever in found] == sorted(lever.effort for lever in found)
    for lever in (one for one in found if one.besides is None):
        if lever.kind == "resin":
            said = assess(known, other.resin, other.limits, outlook, lever.start)
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
    """Thick timber that lags behind warm air stays near its dew point: its own surface is one lever."""
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
    return assess(known, question.resin, question.limits, there, lever.start)


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


def warmed_by(name: str, burner: str = "") -> Advice:
    """A cold shed's answer, with its heater as given."""
    return advised(asked(name), situation(11.0, 0.70), Means(SHED, burner=burner))


def test_an_unflued_burner_is_never_a_lever_and_the_answer_says_why() -> None:
    """A burner in the configuration changes no lever, is refused by name, and the heat says its dangers."""
    electric, burning = warmed_by("epoxy-slow"), warmed_by("epoxy-slow", "propane")
    assert burning.levers == electric.levers
    refusal = " ".join(str(remedy) for remedy in burning.remedies)
    assert "Do not light the propane burner" in refusal
    shown = " ".join(" ".join(tonight.lines(document(burning), plain_wording())).split())
    assert "carbon monoxide kills, and its water causes blush" in shown
    assert "vent it" not in shown
    warm = next(lever for lever in electric.levers if lever.kind == "warm")
    for words in ("carbon monoxide", "electric or flued heat only"):
        assert words in str(warm.warning)
    assert "propane" not in " ".join(tonight.lines(document(electric), plain_wording()))


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
        assert said.index("WARNING") < said.index("1. warm the")
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
    shown = tonight.lines(answer, plain_wording())
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
    assert "weak go" in weak.remedies[0]
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
