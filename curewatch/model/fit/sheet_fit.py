"""The kinetics that explain all statements of a maker's sheet at once, and how sure they are.

Theory of operation. A sheet says ten things about a resin with forty parameters. What it does not
say comes from the archetype it is based on, as a prior with a spread; so one statement is enough,
and gives a wide band. The unknowns are offsets from the archetype in units of their prior standard
deviation. Residuals are (computed - stated) / spread of each statement, film statements through the
film and pot statements through the pot, and the offsets themselves. Least squares gives the offsets;
the inverse of the normal matrix at that point gives their covariance, which the resin then carries.
"""

import math
from collections.abc import Callable, Iterator, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from curewatch.errors import ConfigurationError
from curewatch.materials.maker_sheet import MakerSheet, Statement, Transition
from curewatch.materials.resin import Covariance, Origin, Resin
from curewatch.materials.resin_writer import unit_of, written_spread
from curewatch.model.film.film import constant, cure
from curewatch.model.film.lots import REACH, in_logarithm
from curewatch.model.film.milestones import age_rate, crossing
from curewatch.model.fit.sheet_doubts import Contradiction, Solution, contradictions, far
from curewatch.model.fit.sheet_problem import Problem
from curewatch.model.fit.sheet_unknowns import Unknown, features, unknowns
from curewatch.units import DAY, FloatArray

PINNED = 0.7  # highest conversion that a stated gel or recoat time may make of its threshold (assumed)
STILL_UNKNOWN = 0.8  # of the prior spread is left
REFERENCE = 293.15  # K at which stated waits are held against each other
LONGEST = 30 * DAY  # that a film is followed [s]


class Met(Struct, frozen=True):
    """How one statement is met. Times in seconds, a glass transition in kelvin."""

    title: str
    line: int | None
    stated: float
    computed: float
    early: float  # 8 in 10 between early and late, by what the fit left uncertain
    late: float
    pull: float  # (computed - stated) / spread of the statement
    floor: bool = False  # the maker only says that it is not sooner
    ends: bool = False  # the end of a window, which is the maker's
    foretold: tuple[float, float] | None = None  # by the others, where it lies far outside of that

    @property
    def cautious(self) -> bool:
        """Whether it lies far off on the side on which makers are cautious, so that its time is used."""
        late = -1.0 if self.ends else 1.0
        return self.foretold is not None and self.verdict == "kept" and late * self.pull < 0.0

    @property
    def verdict(self) -> str:
        """In a word."""
        if abs(self.pull) <= 1.0:
            return "met"
        if self.ends or (self.floor and self.pull < 0.0):
            return "kept"
        return "nearly met" if abs(self.pull) <= 2.0 else "NOT met"


class LostWindow(Struct, frozen=True):
    """A stated recoat limit that comes before the window opens."""

    closes: float  # as stated [s]
    opens: float  # by the other statements, at most 30 days [s]
    temperature: float  # of both [K]


class SheetFit(Struct, frozen=True):
    """A fitted resin and what is to be said of it."""

    resin: Resin
    base: Resin
    changed: tuple[str, ...]  # dotted keys that differ from the base
    met: tuple[Met, ...]
    contradictions: tuple[Contradiction, ...]
    lost_window: LostWindow | None
    still_unknown: tuple[Unknown, ...]
    offsets: FloatArray  # in prior standard deviations
    offset_covariance: FloatArray

    def foretold(self, *statements: Statement) -> list[tuple[float, float]]:
        """Natural logarithm of each time by this fit, and its standard deviation. [ln s, 1]"""
        problem = Problem(self.base, unknowns(self.base), statements, ())
        problem.correct(self.offsets)
        slopes = problem.slopes(self.offsets)
        spread = np.sqrt(np.einsum("ij,jk,ik->i", slopes, self.offset_covariance, slopes))
        return list(zip(problem.here(self.offsets).tolist(), spread.tolist(), strict=True))


def fit(sheet: MakerSheet, base: Resin) -> SheetFit:
    """Fit a resin to a sheet.

    Parameters
    ----------
    sheet : MakerSheet
    base : ResinSystem
        The archetype that fills what the sheet leaves open; of the same kind.

    Raises
    ------
    ConfigurationError
        The base is of another kind.

    Source
    ------
    Regularised nonlinear least squares (scipy.optimize.least_squares) with a Laplace covariance;
    its bands are held against known truths in tests/unit/test_sheet_fit_coverage.py
    """
    if base.chemistry != sheet.chemistry:
        raise ConfigurationError(
            f"{sheet.chemistry.name} based on {base.name}, {base.chemistry.name}",
            f"a base that is {sheet.chemistry.name}",
            file=sheet.path,
            key="based_on",
        )
    start = _stated(sheet, base)
    problem = Problem(start, unknowns(start), sheet.statements, sheet.transitions)
    offsets = problem.solve()
    if problem.keep(offsets):
        offsets = problem.solve()
    slopes = problem.slopes(offsets)
    covariance = problem.covariance(slopes, problem.here(offsets))
    return _told(sheet, base, problem, (offsets, slopes, covariance))


# ---- resins


def _stated(sheet: MakerSheet, base: Resin) -> Resin:
    """The base with all that the sheet states outright."""
    limits, thermal, bond, ends = base.limits, base.thermal, base.bond, sheet.recoat_closes
    if sheet.lowest_temperature is not None:
        limits = replace(limits, lowest_temperature=sheet.lowest_temperature)
    if sheet.highest_temperature is not None:
        limits = replace(limits, highest_temperature=sheet.highest_temperature)
    if sheet.highest_humidity is not None:
        limits = replace(limits, highest_humidity=sheet.highest_humidity)
    if sheet.reaction_heat is not None:
        thermal = replace(thermal, reaction_heat=sheet.reaction_heat)
    if ends is not None:
        bond = replace(bond, sheet_closes=ends.time, sheet_temperature=ends.temperature)
    marks = base.milestones
    if sheet.sand:
        wait, kelvin = max(sheet.sand, key=lambda each: each[0] * age_rate(base, each[1], REFERENCE))
        marks = replace(marks, sand=wait, sand_temperature=kelvin)
    blush, surface = base.blush, base.surface
    if sheet.amine_factor is not None and base.chemistry.amine:
        blush = replace(blush, amine_factor=sheet.amine_factor)
    if sheet.rest is not None:
        blush = replace(blush, rest=sheet.rest)
    if sheet.wax is not None:
        surface = replace(surface, wax=sheet.wax)
    highest = max((each.temperature for each in sheet.transitions), default=None)
    return replace(
        base,
        name=sheet.name,
        network=replace(base.network, stated=highest),
        milestones=marks,
        title=sheet.title,
        note=f"fitted to {sheet.source}; what it leaves open is that of {base.name}",
        parent=base.name,
        version=1,
        limits=limits,
        thermal=thermal,
        bond=bond,
        blush=blush,
        surface=surface,
        mix=sheet.mix or base.mix,
    )


_OUTRIGHT: dict[str, Callable[[MakerSheet], object]] = {
    "network.stated": lambda sheet: sheet.transitions or None,
    "limits.lowest_temperature": lambda sheet: sheet.lowest_temperature,
    "limits.highest_temperature": lambda sheet: sheet.highest_temperature,
    "limits.highest_humidity": lambda sheet: sheet.highest_humidity,
    "milestones.sand": lambda sheet: sheet.sand or None,
    "milestones.sand_temperature": lambda sheet: sheet.sand or None,
    "bond.sheet_closes": lambda sheet: sheet.recoat_closes,
    "bond.sheet_temperature": lambda sheet: sheet.recoat_closes,
    "blush.amine_factor": lambda sheet: sheet.amine_factor,
    "blush.rest": lambda sheet: sheet.rest,
    "mix.hardener_mass": lambda sheet: sheet.mix,
    "mix.resin_density": lambda sheet: sheet.mix,
    "mix.hardener_density": lambda sheet: sheet.mix,
    "mix.tolerance": lambda sheet: sheet.mix,
}


# ---- the answer


def _told(sheet: MakerSheet, base: Resin, problem: Problem, solution: Solution) -> SheetFit:
    offsets, _, covariance = solution
    moved = _touched(_pinned(problem.resin(offsets), sheet), sheet.statements)
    keys, matrix = _joint(problem.asked, covariance)
    spreads = np.sqrt(np.diag(matrix))
    fitted = {
        key: Origin(
            "sheet",
            f"fitted to {sheet.source} with the priors of {base.name}",
            _spread_of(moved, key, sd),
            unit_of(key),
        )
        for key, sd in zip(keys, spreads, strict=True)
    }
    stated = [key for key, said in _OUTRIGHT.items() if said(sheet) is not None]
    if moved.milestones.touch is not None:
        stated += ["milestones.touch", "milestones.touch_temperature"]
    outright = {key: Origin("sheet", sheet.source) for key in stated}
    resin = replace(
        moved,
        covariance=Covariance(keys, tuple(tuple(float(value) for value in row) for row in matrix)),
        origins={**base.origins, **fitted, **outright},
    )
    has = features(sheet)
    prior_left = np.sqrt(np.diag(covariance))
    return SheetFit(
        resin=resin,
        base=problem.base,
        changed=(*keys, *outright),
        met=_met((problem, *_ends(sheet, problem)), solution),
        contradictions=contradictions(problem, solution),
        lost_window=_lost_window(sheet, resin),
        still_unknown=tuple(
            each
            for each, left in zip(problem.asked, prior_left, strict=True)
            if left > STILL_UNKNOWN and not each.told_by <= has
        ),
        offsets=offsets,
        offset_covariance=covariance,
    )


def _joint(asked: tuple[Unknown, ...], covariance: FloatArray) -> tuple[tuple[str, ...], FloatArray]:
    """The covariance of the parameters that the unknowns move."""
    keys = tuple(dict.fromkeys(key for unknown in asked for key, _ in unknown.shares))
    share = np.zeros((len(keys), len(asked)))
    for column, unknown in enumerate(asked):
        for key, part in unknown.shares:
            share[keys.index(key), column] = part * unknown.sd
    return keys, share @ covariance @ share.T


def _spread_of(resin: Resin, key: str, sd: float) -> float:
    section, _, leaf = key.partition(".")
    value = float(getattr(getattr(resin, section), leaf))
    return written_spread(key, sd * value if in_logarithm(key) else sd)


def _ends(sheet: MakerSheet, problem: Problem) -> tuple[Problem, ...]:
    """The end of the stated recoat window, where the film itself has one; it is foretold, not fitted."""
    closes = sheet.recoat_closes
    if closes is None or sheet.wax or not sheet.chemistry.amine:
        return ()
    return (Problem(problem.base, problem.asked, (closes,), ()),)


def _met(problems: Sequence[Problem], solution: Solution) -> tuple[Met, ...]:
    unlike = far(problems, solution)
    rows = [row for each in problems for row in _rows(each, solution, ends=each is not problems[0])]
    return tuple(replace(each, foretold=unlike.get(index)) for index, each in enumerate(rows))


def _rows(problem: Problem, solution: Solution, *, ends: bool) -> Iterator[Met]:
    offsets, _, covariance = solution
    values, slopes = problem.here(offsets), problem.slopes(offsets)
    for index, each in enumerate(problem.everything):
        reach = REACH * math.sqrt(float(slopes[index] @ covariance @ slopes[index]))
        three = [values[index], values[index] - reach, values[index] + reach, problem.stated[index]]
        computed, early, late, stated = (
            (math.exp(value) for value in three) if isinstance(each, Statement) else map(float, three)
        )
        pull = float((values[index] - problem.stated[index]) / problem.sd[index])
        floor = bool(problem.floor[index]) or each in _waits([each])
        yield Met(each.title, each.line, stated, computed, early, late, pull, floor, ends)


def _pinned(resin: Resin, sheet: MakerSheet) -> Resin:
    """No film gels or takes a layer sooner than stated: its threshold is what it has come to by then."""
    marks = resin.milestones
    for each in sheet.statements:
        if each.mass is not None or each.mark not in {"gel", "recoat_from"}:
            continue
        still = constant(each.temperature, each.time)
        done = float(cure(resin, still, peroxide_percent=each.peroxide_percent).conversion[-1])
        raised = max(min(done, PINNED), float(getattr(marks, each.mark)))
        marks = replace(marks, **{each.mark: raised}, tack_free=max(marks.tack_free, raised))
    return replace(resin, milestones=marks)


def _waits(stated: Sequence[Statement | Transition]) -> list[Statement]:
    """The waits until tack-free among these: the film may be fitted sooner, it is never told sooner."""
    return [each for each in stated if isinstance(each, Statement) and each.mark == "tack_free"]


def _touched(resin: Resin, stated: Sequence[Statement]) -> Resin:
    """With the longest wait until tack-free that the sheet states."""
    told = _waits(stated)
    if not told:
        return resin
    longest = max(told, key=lambda each: each.time * age_rate(resin, each.temperature, REFERENCE))
    marks = replace(resin.milestones, touch=longest.time, touch_temperature=longest.temperature)
    return replace(resin, milestones=marks)


def _lost_window(sheet: MakerSheet, resin: Resin) -> LostWindow | None:
    """A window that closes before it opens; with wax there is none to be lost."""
    if sheet.recoat_closes is None or resin.surface.wax:
        return None
    closes, kelvin = sheet.recoat_closes.time, sheet.recoat_closes.temperature
    film = cure(resin, constant(kelvin, LONGEST))
    opens = crossing(film.time, film.conversion, resin.milestones.recoat_from)
    opens = LONGEST if math.isnan(opens) else opens
    return None if opens < closes else LostWindow(closes, opens, kelvin)
