"""The bands of the fit hold the truth as often as they say: 200 resins that are known."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from curewatch.materials import load_resin
from curewatch.materials.maker_sheet import Statement, form_text, read_maker_sheet
from curewatch.model.fit.sheet_fit import NINE_IN_TEN, fit
from curewatch.model.fit.sheet_problem import Problem
from curewatch.model.fit.sheet_unknowns import unknowns

TRIALS = 200
BASE = load_resin("epoxy-slow")
STATED = (
    Statement("gel", 1.0, 0.12, 298.15, 0.03),  # small enough to need no shells, which are slow
    Statement("gel", 1.0, 0.15, 293.15),
    Statement("tack_free", 1.0, 0.25, 288.15),
    Statement("working_time", 1.0, 0.20, 293.15),
    Statement("firm", 1.0, 0.30, 293.15),
)
ASKED = (
    Statement("gel", 1.0, 0.1, 283.15),
    Statement("gel", 1.0, 0.1, 291.15, 0.3, insulated=True),
    Statement("firm", 1.0, 0.1, 288.15),
    Statement("tack_free", 1.0, 0.1, 303.15),
)


@pytest.mark.long
def test_nine_in_ten_bands_hold_the_truth_in_85_to_95_of_100(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], record_property
) -> None:
    """Resins drawn from the prior say what is on a sheet, with noise; four other times are foretold."""
    file = tmp_path / "sheet.toml"
    file.write_text(form_text(), encoding="utf-8")
    sheet = replace(read_maker_sheet(file), reaction_heat=None, recoat_closes=None, mix=None, transitions=())
    random, free = np.random.default_rng(2026), unknowns(BASE)
    held = np.zeros((TRIALS, len(ASKED)))
    for trial in range(TRIALS):
        truth = random.standard_normal(len(free))
        resin, later = Problem(BASE, free, STATED, ()), Problem(BASE, free, ASKED, ())
        resin.correct(truth)
        later.correct(truth)
        noise = np.array([each.sd for each in STATED]) * random.standard_normal(len(STATED))
        times = np.exp(resin.values(truth[None, :])[0] + noise)
        said = tuple(replace(each, time=float(time)) for each, time in zip(STATED, times, strict=True))
        found = fit(replace(sheet, statements=said), BASE)
        for index, each in enumerate(ASKED):
            middle, sd = found.foretold(each)
            held[trial, index] = abs(middle - later.values(truth[None, :])[0, index]) < NINE_IN_TEN * sd
    shares = dict(zip((each.title for each in ASKED), held.mean(axis=0), strict=True))
    record_property("measured", ", ".join(f"{title} {share:.0%}" for title, share in shares.items()))
    with capsys.disabled():
        print("\n  90 % bands of", TRIALS, "fits hold the truth:", end=" ")
        print(", ".join(f"{title} {100 * share:.1f} %" for title, share in shares.items()))
    for title, share in shares.items():
        assert 0.85 <= share <= 0.95, title
