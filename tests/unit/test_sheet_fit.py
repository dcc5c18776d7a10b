"""The fit to a maker's sheet: it meets what a resin said, carries its doubt, and names contradictions."""

import json
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.cli.main import run
from curewatch.errors import ConfigurationError
from curewatch.materials import load_resin, resin_names
from curewatch.materials.chemistry import POLYESTER
from curewatch.materials.maker_sheet import MakerSheet, Statement, form_text, read_maker_sheet
from curewatch.materials.quantities import QUANTITIES
from curewatch.materials.resin_writer import as_toml, unit_of
from curewatch.model.film import film
from curewatch.model.film.milestones import milestones
from curewatch.model.film.outcome import outcome
from curewatch.model.fit.sheet_fit import fit
from curewatch.model.fit.sheet_problem import Problem
from curewatch.model.fit.sheet_unknowns import unknowns
from curewatch.model.mass.pot import pot

SLOW = load_resin("epoxy-slow")


@pytest.fixture
def sheet(tmp_path: Path) -> MakerSheet:
    file = tmp_path / "sheet.toml"
    file.write_text(form_text(), encoding="utf-8")
    return replace(read_maker_sheet(file), reaction_heat=None, transitions=(), recoat_closes=None)


def told_by(factor: float) -> tuple[Statement, ...]:
    """What a resin so many times as fast as the slow epoxy would have on its sheet."""
    done = milestones(SLOW, film.cure(SLOW, film.constant(293.15, 9 * 86400.0), rate_factor=factor))
    cup = pot(SLOW, 0.1, 298.15, rate_factor=factor, duration=86400.0)
    return (
        Statement("gel", cup.pot_life, 0.12, 298.15, 0.1),
        Statement("gel", done.gel, 0.15, 293.15),
        Statement("firm", done.firm, 0.30, 293.15),
    )


def test_a_resin_three_times_as_fast_is_found_back(sheet: MakerSheet) -> None:
    """Statements of the model itself are met by the whole film and pot models, shells and all."""
    stated = told_by(3.0)
    found = fit(replace(sheet, statements=stated), SLOW)
    assert all(each.verdict == "met" for each in found.met)
    assert not found.contradictions
    again = pot(found.resin, 0.1, 298.15).pot_life
    assert again == pytest.approx(stated[0].time, rel=0.03)
    ratio = found.resin.kinetics.k2 / SLOW.kinetics.k2
    assert ratio == pytest.approx(3.0, rel=0.1)


def test_a_correction_of_pots_computes_no_variant_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is added to what is known, for the pot alone; another place is computed, and only once."""
    problem = Problem(SLOW, unknowns(SLOW), told_by(1.0), ())
    computed, values = [], problem.values
    monkeypatch.setattr(problem, "values", lambda many: computed.append(many) or values(many))
    here, there = np.zeros(len(problem.asked)), np.full(len(problem.asked), 0.1)
    plain = problem.here(here)
    assert problem.correct(here) == pytest.approx(abs(problem.corrections[0])) != 0.0
    assert (problem.here(here) - plain).tolist() == pytest.approx([problem.corrections[0], 0.0, 0.0])
    assert len(computed) == 1
    assert problem.slopes(there).shape == (3, here.size)
    assert problem.here(there)[1:].tolist() != plain[1:].tolist()
    assert len(computed) == 2


def test_one_statement_gives_a_wide_band_and_more_make_it_narrower(sheet: MakerSheet) -> None:
    """The band of a gel time at 10 degC shrinks with each further statement."""
    stated, asked = told_by(1.0), Statement("gel", 1.0, 0.1, 283.15)
    spreads = [
        fit(replace(sheet, statements=stated[:count]), SLOW).foretold(asked)[0][1] for count in (1, 2, 3)
    ]
    assert spreads[0] > 1.2 * spreads[1] >= spreads[2]


@pytest.mark.long
def test_the_fitted_doubt_widens_the_bands_of_a_film(sheet: MakerSheet) -> None:
    """A band drawn from the fitted system is wider than that of its lot alone."""
    found = fit(replace(sheet, statements=told_by(1.0)[:1]), SLOW).resin
    cold = film.constant(283.15, 5 * 86400.0)
    bare = outcome(replace(found, covariance=SLOW.covariance), cold).marks["gel"]
    wide = outcome(found, cold).marks["gel"]
    assert float(wide.late - wide.early) > 1.1 * float(bare.late - bare.early)


def test_two_statements_that_no_resin_can_keep_are_named(sheet: MakerSheet) -> None:
    """A film that gels in 1 h while 100 g last 40 min: both are named, with what would fit."""
    stated = (Statement("gel", 2400.0, 0.12, 298.15, 0.1), Statement("gel", 4200.0, 0.15, 293.15))
    found = fit(replace(sheet, statements=stated), SLOW)
    assert len(found.contradictions) == 1
    named = found.contradictions[0]
    assert "100 g" in named.one
    assert "film" in named.other
    low, high = named.expected
    assert not low <= named.stated <= high


@pytest.mark.long
def test_a_recoat_limit_before_the_layer_stays_put_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Half an hour, where the other statements open the window after hours, is told as a contradiction."""
    typed = tmp_path / "sheet.toml"
    limit = "[[recoat]]\nuntil_hours = 0.5\ntemperature_c = 20\n"
    typed.write_text(form_text().split("[[working_time]]")[0] + limit, encoding="utf-8")
    with pytest.raises(SystemExit):
        run(["resin", "fit", str(typed)])
    shown = " ".join(capsys.readouterr().out.split())
    assert "1 of 3 statements NOT met" in shown
    assert "The recoat limit, 30 min at 20.0 °C, comes before the window opens" in shown
    assert "Look again at “recoat until, film, 20 °C”: 30 min. By the other statements it would be" in shown
    assert "Its time is used: makers are often as cautious." in shown


def test_a_recoat_limit_that_leaves_a_window_is_not_named(sheet: MakerSheet) -> None:
    """A day at 20 degC is no contradiction."""
    assert (
        fit(
            replace(
                sheet, statements=told_by(1.0), recoat_closes=Statement("recoat_until", 86400.0, 0.12, 293.15)
            ),
            SLOW,
        ).lost_window
        is None
    )


@pytest.mark.long
def test_the_films_of_a_fit_are_told_with_their_bands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One statement alone: the cold film has a row early and a row late, and they are far apart."""
    typed = tmp_path / "sheet.toml"
    typed.write_text(
        'name = "one"\ntitle = "One"\nkind = "epoxy"\n'
        "[[pot_life]]\nminutes = 20\nmass_g = 20\ntemperature_c = 25\n"
    )
    with pytest.raises(SystemExit):
        run(["resin", "fit", str(typed)])
    rows = capsys.readouterr().out.split("10.0 °C")[1].splitlines()
    early, late = (int(row.split()[1]) for row in rows[1:3])
    assert rows[1].split()[0] == "early"
    assert late > 1.7 * early


def test_what_the_sheet_cannot_tell_is_said(sheet: MakerSheet) -> None:
    """Without a second temperature the activation energy stays as it was, and that is said."""
    words = {each.words for each in fit(replace(sheet, statements=told_by(1.0)), SLOW).still_unknown}
    assert "how much the cold slows it" in words


def test_a_fitted_system_is_read_back_from_its_file_as_it_was(sheet: MakerSheet, tmp_path: Path) -> None:
    """Written and loaded again: same numbers, same covariance, its parent named."""
    found = fit(replace(sheet, statements=told_by(2.0)), SLOW)
    file = tmp_path / "demo.toml"
    file.write_text(as_toml(found.resin, "epoxy-slow", found.changed, "Demo"), encoding="utf-8")
    again = load_resin(file)
    assert again.parent == "epoxy-slow"
    assert again.kinetics.k2 == pytest.approx(found.resin.kinetics.k2, rel=1e-9)
    assert again.milestones.gel == pytest.approx(found.resin.milestones.gel, rel=1e-9)
    assert again.covariance.keys == found.resin.covariance.keys
    assert np.allclose(again.covariance.matrix, found.resin.covariance.matrix, rtol=1e-5, atol=1e-12)
    assert again.origins["kinetics.k1"].tag == "sheet"


def test_files_are_written_in_the_units_in_which_archetypes_are() -> None:
    """Each spread of a built-in file stands in the unit in which ours is written."""
    for name in resin_names():
        for key, origin in load_resin(name).origins.items():
            if origin.spread is not None and key in QUANTITIES:
                units = QUANTITIES[key].units
                assert units[origin.spread_unit].factor == units[unit_of(key)].factor, (name, key)


def test_a_base_of_another_kind_is_refused(sheet: MakerSheet) -> None:
    """An epoxy cannot be based on a polyester."""
    with pytest.raises(ConfigurationError, match="based_on"):
        fit(sheet, load_resin("polyester-laminating"))


def test_a_polyester_sheet_with_its_dose_is_fitted(sheet: MakerSheet) -> None:
    """Gel of a cup at 2 per cent and a sanding time; a faster dose is known to be faster."""
    base = load_resin("polyester-laminating")
    stated = (
        Statement("gel", 1500.0, 0.12, 293.15, 0.1, peroxide_percent=2.0),
        Statement("gel", 2600.0, 0.15, 293.15, 0.1, peroxide_percent=1.0),
        Statement("firm", 4 * 3600.0, 0.3, 293.15),
    )
    told = replace(sheet, chemistry=POLYESTER, mix=None, amine_factor=None, statements=stated)
    found = fit(told, base)
    assert all(abs(each.pull) < 2.0 for each in found.met)
    assert found.resin.dose == base.dose
    assert found.resin.milestones.recoat_from == found.resin.milestones.gel


@pytest.mark.long
def test_the_command_writes_a_system_that_can_be_used(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Sheet in, report and file out; the file is a resin for the other commands; nothing is written over."""
    typed, written = tmp_path / "sheet.toml", tmp_path / "mine.toml"
    few = form_text().split("[[working_time]]")[0]
    typed.write_text(few, encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        run(["resin", "fit", str(typed), "--output", str(written)])
    assert not ended.value.code
    shown = capsys.readouterr()
    assert "2 statements, all met" in shown.out
    assert "never change it to change the speed" in " ".join(shown.out.split())
    assert all(len(line) <= 80 for line in shown.out.splitlines())
    with pytest.raises(SystemExit):
        run(["cure", "--resin", str(written), "--temperature", "12", "--json"])
    assert json.loads(capsys.readouterr().out)["resin"] == "demo-creek-slow"
    with pytest.raises(SystemExit) as rejected:
        run(["resin", "fit", str(typed), "--output", str(written)])
    assert rejected.value.code == 2
    assert "--replace" in capsys.readouterr().err


@pytest.mark.long
def test_the_command_as_json_says_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Times in seconds with their bands, and the file untouched."""
    typed = tmp_path / "sheet.toml"
    typed.write_text(form_text().split("[[working_time]]")[0], encoding="utf-8")
    with pytest.raises(SystemExit):
        run(["resin", "fit", str(typed), "--json"])
    said = json.loads(capsys.readouterr().out)
    first = said["statements"][0]
    assert first["unit"] == "s"
    assert first["early"] < first["computed"] < first["late"]
    assert said["based_on"] == "epoxy-slow"
