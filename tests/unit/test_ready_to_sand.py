"""Firm is not ready to sand: what a maker asks for is a floor, in the cold a longer one."""

import json
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.advice.alert.progress import follow
from curewatch.advice.judge import limits
from curewatch.advice.judge.question import Question
from curewatch.cli.main import run
from curewatch.jobs import Layer
from curewatch.materials import Resin, load_resin, resin_names
from curewatch.materials.maker_sheet import read_maker_sheet
from curewatch.materials.substrate import load_substrate
from curewatch.model.film.film import constant, cure
from curewatch.model.film.milestones import milestones
from curewatch.model.film.outcome import outcome
from curewatch.model.fit.sheet_fit import fit
from curewatch.units import DAY, HOUR
from tests.unit.test_advice_progress import NOW, ahead, shed

FAST = load_resin("epoxy-fast")


def sanded(resin: Resin, celsius: float) -> float:
    return milestones(resin, cure(resin, constant(celsius + 273.15, 9 * DAY))).ready_to_sand


@pytest.mark.parametrize("name", resin_names())
def test_no_resin_is_sanded_before_the_usual_day_at_twenty_degrees(name: str) -> None:
    """Today's "hard: sand" came hours before; warmth shortens the wait, and cold makes it longer."""
    resin = load_resin(name)
    film = cure(resin, constant(293.15, 9 * DAY))
    marks = milestones(resin, film)
    assert marks.ready_to_sand == pytest.approx(max(marks.firm, 24 * HOUR))
    assert sanded(resin, 10.0) > 1.4 * sanded(resin, 20.0)
    assert sanded(resin, 25.0) < sanded(resin, 20.0)


def test_the_wait_is_carried_to_the_cold_by_the_activation_energy() -> None:
    """24 h at 20 degC are 24 h x exp(E/R (1/283.15 - 1/293.15)) at 10 degC."""
    ratio = np.exp(FAST.kinetics.energy_2 / 8.314462618 * (1 / 283.15 - 1 / 293.15))
    assert sanded(FAST, 10.0) == pytest.approx(24 * HOUR * ratio, rel=1e-3)


def test_a_film_that_is_never_firm_is_never_ready() -> None:
    """A wait alone hardens nothing; and without a stated wait firm is all that is asked."""
    cold = cure(FAST, constant(293.15, 1 * HOUR))
    assert np.isnan(milestones(FAST, cold).ready_to_sand)
    free = replace(FAST, milestones=replace(FAST.milestones, sand=None, sand_temperature=None))
    marks = milestones(free, cure(free, constant(293.15, 2 * DAY)))
    assert marks.ready_to_sand == marks.firm


def maker(folder: Path, hours: str) -> Path:
    """The example sheet with another word on sanding."""
    text = resources.files("curewatch.materials").joinpath("sheets/example.toml").read_text()
    stated = "[[sand]]\nhours = [9, 14]\ntemperature_c = 20"
    assert stated in text
    file = folder / "sheet.toml"
    file.write_text(text.replace(stated, f"[[sand]]\nhours = {hours}\ntemperature_c = 20"))
    return file


@pytest.mark.long
@pytest.mark.parametrize(("hours", "floor"), [("30", 30.0), ("[9, 14]", 14.0)])
def test_a_maker_s_word_is_a_floor_and_the_longest_of_a_pair_counts(
    tmp_path: Path, hours: str, floor: float
) -> None:
    """Not the 24 h of the archetype, and never sooner than is stated."""
    sheet = read_maker_sheet(maker(tmp_path, hours))
    resin = fit(sheet, load_resin(sheet.based_on)).resin
    assert resin.milestones.sand == pytest.approx(floor * HOUR)
    assert resin.origins["milestones.sand"].tag == "sheet"
    assert sanded(resin, 20.0) >= floor * HOUR - 1.0


@pytest.mark.long
def test_the_fitted_file_keeps_the_maker_s_wait(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Written by the command and read back."""
    mine = tmp_path / "mine.toml"
    with pytest.raises(SystemExit):
        run(["resin", "fit", str(maker(tmp_path, "30")), "--output", str(mine)])
    capsys.readouterr()
    assert load_resin(str(mine)).milestones.sand == pytest.approx(30 * HOUR)


def test_a_running_layer_has_two_rows_and_dust_is_spoken_of_before_the_later() -> None:
    """Firm first, with the filter, the gloves and the allergy; then ready to sand."""
    situation = shed(NOW, 20.0, 0.5)
    asked = Question(FAST, limits.for_resin(FAST), load_substrate("plywood"))
    seen = follow(Layer("L1", NOW - 600, "epoxy-fast"), asked, situation, ahead(situation))
    firm, ready = seen.moment("firm"), seen.moment("ready-to-sand")
    assert firm.likely is not None
    assert ready.early is not None
    assert ready.early >= seen.layer.started + 24 * HOUR - 60.0 > firm.likely
    assert "sand" not in firm.title.replace("do not sand", "")
    for words in ("P3 filter", "gloves", "allergy for life"):
        assert words in firm.note


@pytest.mark.long
def test_a_cure_shows_firm_and_ready_to_sand(capsys: pytest.CaptureFixture[str]) -> None:
    """On the screen and in JSON, every edge of the band after the wait."""
    said = outcome(FAST, constant(293.15, 48 * HOUR))
    assert all(float(at) >= 24 * HOUR - 1.0 for at in said.marks["ready_to_sand"])
    with pytest.raises(SystemExit, match="0"):
        run(["cure", "--resin", "epoxy-fast", "--temperature", "20"])
    shown = capsys.readouterr().out
    assert "\n  firm " in shown
    assert "\n  ready to sand " in shown
    with pytest.raises(SystemExit, match="0"):
        run(["cure", "--resin", "epoxy-fast", "--temperature", "20", "--json"])
    times = json.loads(capsys.readouterr().out)["milestones_s"]
    assert times["ready_to_sand"]["early"] > times["firm"]["late"]
