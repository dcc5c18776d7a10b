"""What makers of other kinetics would put on a sheet, honestly or with a slip, and what a fit makes of it."""

from dataclasses import dataclass, replace
from pathlib import Path
from statistics import NormalDist

import numpy as np

from curewatch.materials import load_resin
from curewatch.materials.chemistry import EPOXY
from curewatch.materials.maker_sheet import MakerSheet, Statement
from curewatch.model.fit.sheet_fit import SheetFit, fit
from tests.other_kinetics import FORMS, Truth, drawn

BASE = load_resin("epoxy-slow")
NINE_IN_TEN = NormalDist().inv_cdf(0.95)  # standard deviations either way that hold as many


def stated(mark: str, sd: float, celsius: float, mass: float | None = None) -> Statement:
    """A statement that is still to get its time."""
    return Statement(mark, 1.0, sd, celsius + 273.15, mass)


SAID = (
    stated("gel", 0.12, 25.0, 0.1),
    stated("working_time", 0.18, 20.0),
    stated("gel", 0.15, 20.0),
    stated("tack_free", 0.18, 20.0),
    stated("recoat_from", 0.12, 20.0),
    stated("firm", 0.10, 20.0),
)
ASKED = (
    stated("working_time", 0.1, 10.0),
    stated("gel", 0.1, 10.0),
    stated("gel", 0.1, 18.0, 0.3),
    stated("tack_free", 0.1, 10.0),
    stated("tack_free", 0.1, 25.0),
    stated("firm", 0.1, 10.0),
    stated("firm", 0.1, 15.0),
    stated("firm", 0.1, 25.0),
)


def typed(statements: tuple[Statement, ...]) -> MakerSheet:
    """A sheet that says nothing else."""
    nothing = dict.fromkeys(
        ("wax", "amine_factor", "lowest_temperature", "highest_temperature", "highest_humidity", "rest")
    )
    return MakerSheet(
        path=Path("sheet.toml"), name="other", title="Other", chemistry=EPOXY, based_on=BASE.name,
        source="a test", **nothing, reaction_heat=None, mix=None, mix_assumed=(), recoat_closes=None,
        sand=(), statements=statements, transitions=(),
    )  # type: ignore[arg-type]  # fmt: skip


def exact(truth: Truth) -> tuple[Statement, ...]:
    """Its sheet without any error, sanding and recoat included."""
    return tuple(replace(each, time=truth.time(each)) for each in SAID)


def honest(truth: Truth, random: np.random.Generator) -> tuple[Statement, ...]:
    """Its sheet as makers write: each time with its error, and cautious with sanding and recoat."""
    errors = [each.sd * random.standard_normal() for each in SAID]
    cautious = [abs(random.normal(0.0, 0.5)) if each.floor else 0.0 for each in SAID]
    return tuple(
        replace(each, time=each.time * float(np.exp(error + longer)))
        for each, error, longer in zip(exact(truth), errors, cautious, strict=True)
    )


def doubted(found: SheetFit, title: str) -> bool:
    """Whether a statement is held up to the reader as wrong: it contradicts, or is far from the others."""
    contradicts = any(title in {each.one, each.other} for each in found.contradictions)
    return contradicts or any(
        each.title == title and (each.foretold is not None or each.verdict == "NOT met") for each in found.met
    )


def named(found: SheetFit, title: str) -> bool:
    """The same, or held up as longer than the resin needs, and kept."""
    return doubted(found, title) or any(each.title == title and each.verdict == "kept" for each in found.met)


@dataclass(frozen=True)
class Coverage:
    """What so many honest sheets came to."""

    held: dict[str, float]  # share of bands of 9 in 10 that hold the truth, by what is asked
    by_half: dict[str, float]  # the same of bands half as wide
    contradictory: float  # share of sheets called so
    asked_back: float  # share with a statement far from the others


def coverage(sheets: int, seed: int = 2026) -> Coverage:
    """Fit honest sheets of all three forms in turn, and ask each fit for times that it was not told."""
    random, away, contradictory, far = np.random.default_rng(seed), [], 0, 0
    for number in range(sheets):
        truth = drawn(random, FORMS[number % len(FORMS)])
        found = fit(typed(honest(truth, random)), BASE)
        contradictory += bool(found.contradictions)
        far += any(each.foretold is not None for each in found.met)
        told = found.foretold(*ASKED)
        true = [np.log(truth.time(each)) for each in ASKED]
        away.append([abs(a - b) / sd for (a, sd), b in zip(told, true, strict=True)])
    held, by_half = (
        dict(zip((each.title for each in ASKED), share.tolist(), strict=True))
        for share in (np.mean(np.array(away) < part * NINE_IN_TEN, axis=0) for part in (1.0, 0.5))
    )
    return Coverage(held, by_half, contradictory / sheets, far / sheets)
