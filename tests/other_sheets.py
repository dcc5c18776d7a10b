"""What makers of other kinetics would put on a sheet, honestly or with a slip, and what a fit makes of it."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from statistics import NormalDist

import numpy as np
from msgspec.structs import replace

from curewatch.materials import load_resin
from curewatch.materials.chemistry import EPOXY
from curewatch.materials.maker_sheet import MakerSheet, Statement
from curewatch.model.fit import sheet_doubts
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
    stated("recoat_until", 0.12, 20.0),
)
UNSAFE = {  # the slip that makes work seem ready sooner, or a pot or window last longer
    each.title: 2.0 if each.mass or each.mark in {"working_time", "recoat_until"} else 0.5 for each in SAID
}
CAUTION = {"recoat_from": 1.0, "firm": 1.0, "recoat_until": -1.0}  # to which side makers err on purpose
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
    ends = next((each for each in statements if each.mark == "recoat_until"), None)
    fitted = tuple(each for each in statements if each is not ends)
    nothing = dict.fromkeys(
        ("wax", "amine_factor", "lowest_temperature", "highest_temperature", "highest_humidity", "rest")
    )
    return MakerSheet(
        path=Path("sheet.toml"), name="other", title="Other", chemistry=EPOXY, based_on=BASE.name,
        source="a test", **nothing, reaction_heat=None, mix=None, mix_assumed=(), recoat_closes=ends,
        sand=(), statements=fitted, transitions=(),
    )  # type: ignore[arg-type]  # fmt: skip


def exact(truth: Truth) -> tuple[Statement, ...]:
    """Its sheet without any error, sanding and recoat included."""
    return tuple(replace(each, time=truth.time(each)) for each in SAID)


def honest(truth: Truth, random: np.random.Generator) -> tuple[Statement, ...]:
    """Its sheet as makers write: each time with its error, and cautious with sanding and recoat."""
    errors = [each.sd * random.standard_normal() for each in SAID]
    sides = [CAUTION.get(each.mark, 0.0) for each in SAID]
    cautious = [side * abs(random.normal(0.0, 0.5)) if side else 0.0 for side in sides]
    return tuple(
        replace(each, time=each.time * float(np.exp(error + longer)))
        for each, error, longer in zip(exact(truth), errors, cautious, strict=True)
    )


def doubted(found: SheetFit, title: str) -> bool:
    """Whether the reader is asked to look at a statement again; that it is kept does not count."""
    contradicts = any(title in {each.one, each.other} for each in found.contradictions)
    return contradicts or any(each.title == title and each.foretold is not None for each in found.met)


def slips(truths: int, seed: int) -> Iterator[tuple[int, str, float, SheetFit]]:
    """Sheets that are exact but for one statement, half or twice as long; factor 1 is the control, as it is.

    Number of the resin, title of the statement, factor, what the fit makes of it.
    """
    random = np.random.default_rng(seed)
    for number in range(truths):
        said = exact(drawn(random, FORMS[number % len(FORMS)]))
        yield number, "", 1.0, fit(typed(said), BASE)
        for wrong, factor in product(range(len(said)), (0.5, 2.0)):
            typo = replace(said[wrong], time=factor * said[wrong].time)
            yield number, typo.title, factor, fit(typed((*said[:wrong], typo, *said[wrong + 1 :])), BASE)


@dataclass(frozen=True)
class Slips:
    """How many of so many slips were named."""

    total: int
    missed: int
    unsafe: int  # of them those that make work seem ready sooner, or a pot or window last longer
    unsafe_missed: int
    doubted_without: int  # sheets without a slip in which something is doubted


def counted(found: Iterable[tuple[int, str, float, SheetFit]]) -> Slips:
    """What :func:`slips` came to."""
    rows = [(title, factor, doubted(fitted, title), fitted) for _, title, factor, fitted in found]
    wrong = [(UNSAFE[title] == factor, told) for title, factor, told, _ in rows if title]
    exact_ones = [fitted for title, _, _, fitted in rows if not title]
    return Slips(
        total=len(wrong),
        missed=sum(not told for _, told in wrong),
        unsafe=sum(unsafe for unsafe, _ in wrong),
        unsafe_missed=sum(unsafe and not told for unsafe, told in wrong),
        doubted_without=sum(any(doubted(each, title) for title in UNSAFE) for each in exact_ones),
    )


def without_doubts(put: Callable[[object, str, object], None]) -> None:
    """Take every limit of doubt away."""
    put(sheet_doubts, "LIMITS", dict.fromkeys(sheet_doubts.LIMITS, (np.inf, np.inf)))
    put(sheet_doubts, "CONTRADICTION", np.inf)


@dataclass(frozen=True)
class Coverage:
    """What so many honest sheets came to."""

    held: dict[str, float]  # share of bands of 9 in 10 that hold the truth, by what is asked
    by_half: dict[str, float]  # the same of bands half as wide
    contradictory: float  # share of sheets called so
    asked_back: float  # share with a statement far from the others
    cautious: float  # share with one that is far on the side on which makers are cautious


def coverage(sheets: int, seed: int = 2026) -> Coverage:
    """Fit honest sheets of all three forms in turn, and ask each fit for times that it was not told."""
    random, away, contradictory, far, careful = np.random.default_rng(seed), [], 0, 0, 0
    for number in range(sheets):
        truth = drawn(random, FORMS[number % len(FORMS)])
        found = fit(typed(honest(truth, random)), BASE)
        contradictory += bool(found.contradictions)
        far += any(each.foretold is not None and not each.cautious for each in found.met)
        careful += any(each.cautious for each in found.met)
        told = found.foretold(*ASKED)
        true = [np.log(truth.time(each)) for each in ASKED]
        away.append([abs(a - b) / sd for (a, sd), b in zip(told, true, strict=True)])
    held, by_half = (
        dict(zip((each.title for each in ASKED), share.tolist(), strict=True))
        for share in (np.mean(np.array(away) < part * NINE_IN_TEN, axis=0) for part in (1.0, 0.5))
    )
    return Coverage(held, by_half, contradictory / sheets, far / sheets, careful / sheets)
