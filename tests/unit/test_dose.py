"""A dose of peroxide: any that is allowed can be planned and weighed; it is shown under its own name."""

import json
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from curewatch.advice.judge import limits
from curewatch.advice.judge.question import Question
from curewatch.advice.plan.layup import Hands, LayupPlan, bill
from curewatch.advice.plan.mixing import batch, check, of_resin, smallest_batch
from curewatch.answers.layup import LayupDocument, layup_document
from curewatch.cli.main import run
from curewatch.cli.screens import bench_card
from curewatch.cli.screens import layup as screen
from curewatch.materials import load_resin, resin_names
from curewatch.materials.substrate import load_substrate
from curewatch.wording import Wording
from curewatch.worklog import telling
from tests.examples import up_to
from tests.unit.test_layup_command import NOW, cheek

DOSED = tuple(name for name in resin_names() if load_resin(name).dose is not None)
PLACE = "Saltmarsh Shed"


@cache
def planned(name: str, percent: float | None = None) -> LayupPlan:
    resin = load_resin(name)
    asked = Question(resin, limits.for_resin(resin), load_substrate("plywood"), peroxide_percent=percent)
    return bill(cheek(), asked, Hands())


@pytest.mark.long
@settings(max_examples=up_to(20))
@given(some.sampled_from(DOSED), some.floats(0.0, 1.0))
def test_every_dose_that_is_allowed_can_be_planned_and_weighed(name: str, where: float) -> None:
    """From the least to the most, both ends too: a smallest batch there is, and what is told is accepted."""
    dose = load_resin(name).dose
    assert dose is not None
    percent = min(dose.peroxide_low + where * (dose.peroxide_high - dose.peroxide_low), dose.peroxide_high)
    plan = planned(name, percent)
    assert screen.lines(layup_document(plan, NOW, 1e-3), Wording())
    least = smallest_batch(plan.proportion, 1e-3)
    assert 0.01 < least < 1.0
    cup = batch(plan.proportion, 2 * least)
    assert check(plan.proportion, cup.resin, cup.added).within
    assert telling.proportions(load_resin(name), cup.resin, cup.added, scale_step=1e-3)[0]["within"]


@pytest.mark.parametrize("name", DOSED)
def test_both_ends_of_the_range_are_planned_by_the_command(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """1 % and 3 % of peroxide ended in a division by zero."""
    dose = load_resin(name).dose
    assert dose is not None
    for percent in (dose.peroxide_low, dose.peroxide_normal, dose.peroxide_high):
        asked = ["layup", "round", "--length", "80", "--thickness", "3", "--resin", name]
        asked += ["--why", "--peroxide", f"{percent:g}", "--config", str(configured(tmp_path))]
        with pytest.raises(SystemExit, match="4"):
            run(asked)
        assert f"{percent:g} % peroxide; allowed" in capsys.readouterr().out


def configured(folder: Path) -> Path:
    file = folder / "curewatch.toml"
    file.write_text(f'[logbook]\npath = "{folder}/logbook"\n[resin]\nname = "polyester-laminating"\n')
    return file


@pytest.mark.parametrize("name", DOSED)
def test_the_dose_is_shown_and_assumed_where_nobody_gave_it(name: str) -> None:
    """On the screen, the card and in JSON."""
    usual = f"{of_resin(load_resin(name)).usual * 100:g} % peroxide"
    nobody, somebody = document(name), document(name, of_resin(load_resin(name)).usual * 100)
    assert f"{usual} (assumed)" in shown(nobody)
    assert usual in shown(somebody)
    assert "(assumed);" not in shown(somebody)
    assert nobody.ratio.peroxide_assumed is True
    assert somebody.ratio.peroxide_assumed is False


@cache
def document(name: str, percent: float | None = None) -> LayupDocument:
    """A layup, planned once for all tests."""
    return layup_document(planned(name, percent), NOW, 1e-3)


def shown(said: LayupDocument) -> str:
    return " ".join(bench_card.text(said, Wording(), PLACE).split())


@pytest.mark.parametrize("name", DOSED)
def test_peroxide_is_never_called_hardener_in_a_plan(name: str) -> None:
    """Neither on a card nor as a value; and an epoxy has no peroxide."""
    plan, said = planned(name), document(name)
    assert "hardener" not in (shown(said) + bench_card.html(said, Wording(), PLACE)).lower()
    assert (said.hardener_g, said.hardener_ml, said.ratio.hardener_per_100) == (None, None, None)
    assert said.peroxide_g == pytest.approx(plan.amounts.added * 1e3, abs=0.1)
    assert "peroxide" not in shown(document("epoxy-slow")).lower()
    assert document("epoxy-slow").peroxide_g is None


def test_a_cup_outside_its_dose_says_what_to_add() -> None:
    """0.5 g of peroxide in 100 g: 1.5 g more; 4 g: 100 g of resin more."""
    polyester = of_resin(load_resin("polyester-laminating"))
    assert "add 2 g of peroxide at once" in Wording().say(check(polyester, 0.100, 0.0005).advised)
    assert "add 100 g of resin at once" in Wording().say(check(polyester, 0.100, 0.004).advised)


@pytest.mark.parametrize("asked", [("--peroxide", "2"), ()])
def test_a_cure_says_its_dose(asked: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    """The same film; what was assumed is said to be."""
    plain = ["cure", "--resin", "polyester-laminating", "--temperature", "18", "--hours", "6", *asked]
    for arguments in (plain, [*plain, "--json"]):
        with pytest.raises(SystemExit, match="0"):
            run(arguments)
    lines, _, document = capsys.readouterr().out.partition("{")
    assert ("with 2 % peroxide (assumed)" in lines) is not bool(asked)
    assert "with 2 % peroxide" in lines
    said = json.loads("{" + document)
    assert (said["peroxide_percent"], said["peroxide_assumed"]) == (2.0, not asked)


def asked_with(folder: Path, name: str, percent: float, typed: str) -> int:
    """Exit status of a command where this dose of this resin is configured."""
    file = folder / "curewatch.toml"
    file.write_text(
        f'[logbook]\npath = "{folder}/logbook"\n[resin]\nname = "{name}"\nperoxide_percent = {percent}\n'
    )
    with pytest.raises(SystemExit) as stop:
        run([*typed.split(), "--config", str(file)])
    return int(stop.value.code or 0)


@pytest.mark.parametrize(
    "configured",
    [("polyester-laminating", 5.0, "1 to 3 %"), ("vinyl-ester", 2.8, "1 to 2.5 %")],
)
@pytest.mark.parametrize(
    "typed",
    ["tonight", "windows", "layup round --length 80 --thickness 3", "layer", "cure --temperature 20"],
)
def test_a_configured_dose_is_held_to_the_range_of_its_resin(
    typed: str, configured: tuple[str, float, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Refused as other wrong configuration is: where, what was found, what is allowed; nothing answered."""
    name, percent, allowed = configured
    assert asked_with(tmp_path, name, percent, typed) == 78
    out, said = capsys.readouterr()
    assert f"curewatch.toml, key resin.peroxide_percent: found {percent:g} % of peroxide" in " ".join(
        said.split()
    )
    assert f"Use {allowed} for {name}" in " ".join(said.split())
    assert out == ""


def test_a_wrong_configured_dose_stops_no_other_resin_and_doctor_finds_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Another resin, or a dose that was typed, is answered (nothing is known of the air)."""
    for other in ("tonight --resin epoxy-slow", "tonight --peroxide 2"):
        assert asked_with(tmp_path, "polyester-laminating", 5.0, other) == 4
    capsys.readouterr()
    assert asked_with(tmp_path, "polyester-laminating", 5.0, "doctor") == 78
    assert "1 to 3 % for polyester-laminating" in " ".join(capsys.readouterr().out.split())


@pytest.mark.long
def test_a_cure_takes_the_configured_dose(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As if it was typed; a typed one goes before it, and it is no other resin's."""
    answers = []
    for typed in (
        "cure",
        "cure --resin polyester-laminating",
        "cure --peroxide 1.2",
        "cure --peroxide 2",
        "cure --resin polyester-topcoat",
    ):
        assert asked_with(tmp_path, "polyester-laminating", 1.2, f"{typed} --temperature 18 --json") == 0
        answers.append(json.loads(capsys.readouterr().out))
    assert answers[0] == answers[1] == answers[2]
    doses = [(said["peroxide_percent"], said["peroxide_assumed"]) for said in answers]
    assert doses == [*[(1.2, False)] * 3, (2.0, False), (2.0, True)]
    assert answers[0]["milestones_s"]["gel"]["likely"] > answers[3]["milestones_s"]["gel"]["likely"]
