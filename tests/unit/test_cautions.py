"""What can hurt is said before the step it belongs to, for each resin, and never the weaker half of it."""

from functools import cache

import pytest

from curewatch.advice.judge import cautions, limits
from curewatch.advice.judge.answer import Advice, Lever, Verdict
from curewatch.advice.judge.question import Question, ask
from curewatch.advice.judge.situation import Place, Situation
from curewatch.advice.judge.verdict import assess
from curewatch.advice.plan.layup import Hands, bill
from curewatch.advice.plan.mixing import check, of_resin
from curewatch.answers.layup import LayupDocument, layup_document
from curewatch.answers.tonight import tonight_document
from curewatch.cli.main import run
from curewatch.cli.screens import bench_card, layup, tonight
from curewatch.errors import OutOfValidity
from curewatch.materials import load_resin, resin_names
from curewatch.materials.chemistry import EPOXY
from curewatch.materials.substrate import load_substrate
from curewatch.model.film.film import constant, cure
from curewatch.model.film.lots import LATE, rate_factor_at
from curewatch.model.film.recoat_window import recoat_window
from curewatch.model.mass.pot import HOT, pot
from curewatch.units import DAY
from curewatch.wording import Wording
from tests.unit.test_advice_levers import situation
from tests.unit.test_layup_command import NOW, cheek

EPOXIES = tuple(name for name in resin_names() if load_resin(name).chemistry is EPOXY)
STYRENES = tuple(name for name in resin_names() if load_resin(name).chemistry.styrene)
EVERY = (*EPOXIES, *STYRENES)


def said(name: str) -> str:
    """The cautions for laying up and sanding this resin, as one text."""
    return " ".join(cautions.for_layup(load_resin(name).chemistry, abrading=True))


@cache
def document(name: str) -> LayupDocument:
    """A layup with this resin, planned once for all tests."""
    resin = load_resin(name)
    asked = Question(resin, limits.for_resin(resin), load_substrate("plywood"))
    return layup_document(bill(cheek(), asked, Hands()), NOW, 1e-3)


def planned(name: str, *, card: bool = False) -> str:
    """The layup's screen, or its page to pin up, with this resin; one line."""
    if card:
        return bench_card.html(document(name), Wording(), "Saltmarsh Shed")
    return " ".join(" ".join(layup.lines(document(name), Wording(), why=True)).split())


@pytest.mark.parametrize("name", EVERY)
def test_every_resin_warns_of_allergy_eyes_gloves_and_solvent(name: str) -> None:
    """Skin and eyes: for epoxy, polyester and vinyl ester alike."""
    for words in ("allergy for life", "Wear gloves and eye protection", "Never clean skin with solvent"):
        assert words in said(name)
        assert words in planned(name)
        assert words in planned(name, card=True)


@pytest.mark.parametrize("name", STYRENES)
def test_styrene_wants_air_and_a_filter_both(name: str) -> None:
    """One does not replace the other; where the vapour gathers, and what lights it."""
    text = said(name)
    for words in (
        "Ventilate AND wear an organic-vapour filter",
        "low points hold it",
        "No flame, no spark",
        "peroxide can blind",
    ):
        assert words in text
    assert "or wear" not in text
    assert not any("styrene" in said(other).lower() for other in EPOXIES)


@pytest.mark.parametrize("name", EVERY)
def test_sanding_wants_a_filter_extraction_gloves_and_a_look_at_the_old_paint(name: str) -> None:
    """Dust, lead, carbon, electricity in a damp place."""
    text = said(name)
    for words in (
        "P3 filter (or the local equivalent) and gloves; use extraction",
        "lead or biocides",
        "tested or removed",
        "carbon dust conducts",
        "residual-current device",
        "local electrical code",
    ):
        assert words in text


@pytest.mark.parametrize("name", EVERY)
def test_blush_is_washed_off_an_epoxy_only(name: str) -> None:
    """A polyester has none: neither the caution nor the way to a closed window speaks of water."""
    resin = load_resin(name)
    window = recoat_window(resin, cure(resin, constant(293.15, 20 * DAY)))
    epoxy = resin.chemistry.amine
    assert ("blush" in said(name)) is epoxy
    assert window.cause
    assert ("water" in window.afterwards) is epoxy
    assert "P3 filter" in window.afterwards


@pytest.mark.parametrize("card", [False, True])
def test_on_the_bench_the_cautions_stand_before_the_mixing(card: bool) -> None:
    """Before what is weighed, on the screen and on the card."""
    text = planned("polyester-laminating", card=card)
    brief = text.index("DANGER: Styrene burns and harms")
    assert 0 < brief < text.index("gloves, eye protection") < text.index("Materials")
    assert "Never clean skin with solvent" in text


def test_tonight_the_cautions_stand_before_what_to_do() -> None:
    """The step is protected by what was read before it."""
    advice = Advice(
        Verdict.NO_GO,
        "too cold",
        at=NOW,
        start=NOW,
        resin="epoxy-slow",
        resin_title="",
        remedies=("Warm the shed.",),
        levers=(Lever("warm", NOW, 1.0, target=291.0, warning=cautions.for_heating(EPOXY)),),
        cautions=("Gloves.",),
    )
    lines = tonight.lines(tonight_document(advice, Wording()), Wording(), why=True)
    brief, step = (
        next(at for at, line in enumerate(lines) if words in line) for words in ("WARNING", "Do now")
    )
    assert brief < step < 10
    assert step < lines.index("  Gloves.") < lines.index("  Warm the shed.")


@pytest.mark.parametrize("caution", [each for each in cautions.Caution if each.name != "SHEETS"])
def test_every_caution_has_a_brief_form_with_its_signal_word(caution: cautions.Caution) -> None:
    """Hazard and what to do in one line of the first screen; the gravest first."""
    brief = cautions.brief(f"before {caution.value} after")
    assert 0 < len(brief) <= 78
    assert brief.partition(":")[0] == (
        caution.value.partition(":")[0]
        if ": " in caution.value[:9]
        else "Wash blush off with water before you sand."
    )
    whole = " ".join(each.value for each in cautions.Caution)
    assert cautions.brief(whole).index("DANGER") < cautions.brief(whole).index("WARNING")


def test_a_cure_says_for_which_thickness_it_is(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A film where nobody said, else the layer that was told."""
    for words, said in (([], "for one film"), (["--thickness", "2.4", "--on", "foam"], "for 2.4 mm on foam")):
        with pytest.raises(SystemExit, match="0"):
            run(["cure", "--temperature", "18", "--hours", "24", "--why", *words])
        assert said in " ".join(capsys.readouterr().out.split())


def test_a_cup_out_of_ratio_is_mended_at_once_or_left_to_cure_outdoors() -> None:
    """A warm mix is never thrown away."""
    advised = Wording().say(check(of_resin(load_resin("epoxy-slow")), 0.200, 0.030).advised)
    assert "add 14 g of hardener at once and mix again" in advised
    for words in (
        "warm already",
        "outdoors in a metal tray",
        "by local rules",
        "Never throw a warm mix away",
    ):
        assert words in advised
    assert "or throw it out" not in advised


@pytest.mark.parametrize("term", ["styrene", "polyester"])
def test_the_terms_want_air_and_a_filter_both(term: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What explain says is what the cautions say."""
    with pytest.raises(SystemExit, match="0"):
        run(["explain", term])
    assert "entilate and wear an organic-vapour filter" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(("grams", "celsius", "hot"), [(100, 20.0, True), (20, 5.0, False)])
def test_the_heat_of_a_pot_is_spoken_of_by_its_own_peak(grams: float, celsius: float, hot: bool) -> None:
    """A cup of 100 g passes 200 degC and says so; one of 20 g in the cold stays as cold as its air."""
    resin, mass, air = load_resin("epoxy-slow"), grams / 1000.0, celsius + 273.15
    fast = pot(resin, mass, air, rate_factor=rate_factor_at(resin, LATE))
    assert (fast.peak_temperature >= HOT) == hot
    assert cautions.pot_overheats(resin, mass, air) == hot
    asked = Question(resin, limits.for_resin(resin), load_substrate("plywood"), batch_mass=mass)
    said = ask(asked, situation(celsius, 0.5), None).cautions
    assert (cautions.Caution.POT_HEAT.value in said) == hot


def test_a_pot_that_cannot_be_followed_is_taken_to_be_hot() -> None:
    """At -60 degC the cure law is silent: the caution stays, though the cup would be cold here."""
    resin, air = load_resin("epoxy-slow"), 213.15
    with pytest.raises(OutOfValidity):
        cautions.pot_overheats(resin, 0.02, air)
    known = Situation(0.0, air=Place("bench", "air", 0.0, air, 0.3))
    said = assess(known, resin, limits.for_resin(resin), None, batch_mass=0.02)
    assert cautions.Caution.POT_HEAT.value in said.cautions


def test_cure_warns_of_a_pot_before_it_shows_its_times(capsys: pytest.CaptureFixture[str]) -> None:
    """The caution stands before the step it protects."""
    with pytest.raises(SystemExit):
        run(["cure", "--resin", "epoxy-slow", "--temperature", "20", "--mass", "100g", "--why"])
    out = " ".join(capsys.readouterr().out.split())
    assert out.index("WARNING: A full cup burns") < out.index("kicks as early as")
    assert out.index("WARNING: a full cup heats itself") < out.index("kicks after")
    assert "If it smokes, do not carry it: leave the shed" in out
