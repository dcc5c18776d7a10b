"""The kinetics that explain all statements of a maker's sheet at once, and how sure they are.

Theory of operation. A sheet says ten things about a resin with forty parameters. What it does not
say comes from the archetype it is based on, as a prior with a spread; so one statement is enough,
and gives a wide band. The unknowns are offsets from the archetype in units of their prior standard
deviation. Residuals are (computed - stated) / spread of each statement, film statements through the
film and pot statements through the pot, and the offsets themselves. Least squares gives the offsets;
the inverse of the normal matrix at that point gives their covariance, which the system then carries.

Pots above a Biot number of 0.3 need shells, which are slow. They are fitted with one temperature and
a correction factor, which is computed anew from the shells at each solution until it stands still.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from curewatch.errors import ConfigurationError
from curewatch.materials.maker_sheet import MakerSheet, Statement, Transition
from curewatch.materials.quantities import QUANTITIES
from curewatch.materials.resin_writer import unit_of, written_spread
from curewatch.materials.system import Covariance, Origin, ResinSystem
from curewatch.model.lots import in_logarithm
from curewatch.model.pot import body, pot
from curewatch.model.quick_times import film_time, glass_after, pot_time, threshold
from curewatch.physics.heat_balance import STILL_AIR
from curewatch.units import FloatArray

NINE_IN_TEN = 1.645  # standard deviations either way
DIFFERENCE = 0.02  # of an unknown, for the slopes
ROUNDS = 3  # of correcting the pots
CONTRADICTION = 6.63  # chi-square of one degree, 1 in 100
STILL_UNKNOWN = 0.8  # of the prior spread is left
TWO_TEMPERATURES, TWO_MASSES, COOL, WARM = "temperatures", "masses", "cool", "warm"  # what a sheet may have
WARM_FROM = 313.15  # K, from which a schedule counts as a post-cure


class Unknown(NamedTuple):
    """One thing the fit may change: how, by how much a priori, and what a person would call it."""

    shares: tuple[tuple[str, float], ...]  # dotted key and its share in a change of this unknown
    sd: float  # prior; natural logarithm for rates, inhibitor and reaction heat's SI otherwise
    words: str
    asks_for: str  # the statement that would tell
    told_by: frozenset[str]  # what a sheet must have for it: milestones, or one of the three below


@dataclass(frozen=True, slots=True)
class Met:
    """How one statement is met. Times in seconds, a glass transition in kelvin."""

    title: str
    line: int | None
    stated: float
    computed: float
    early: float  # nine of ten between early and late, by what the fit left uncertain
    late: float
    pull: float  # (computed - stated) / spread of the statement

    @property
    def verdict(self) -> str:
        """In a word."""
        return "met" if abs(self.pull) <= 1.0 else "nearly met" if abs(self.pull) <= 2.0 else "NOT met"


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two statements that no resin of this kind can both keep."""

    one: str
    other: str
    expected: tuple[float, float]  # what the other would be if the one holds
    stated: float


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted system and what is to be said of it."""

    system: ResinSystem
    base: ResinSystem
    changed: tuple[str, ...]  # dotted keys that differ from the base
    met: tuple[Met, ...]
    contradictions: tuple[Contradiction, ...]
    still_unknown: tuple[Unknown, ...]
    offsets: FloatArray  # in prior standard deviations
    offset_covariance: FloatArray

    def foretold(self, statement: Statement) -> tuple[float, float]:
        """Natural logarithm of a time by this fit, and its standard deviation. (ln s, 1)"""
        problem = Problem(self.base, unknowns(self.base), (statement,), ())
        problem.correct(self.offsets)
        slope = problem.slopes(self.offsets)[0]
        spread = math.sqrt(float(slope @ self.offset_covariance @ slope))
        return float(problem.values(self.offsets[None, :])[0, 0]), spread


def unknowns(base: ResinSystem) -> tuple[Unknown, ...]:
    """What a fit may change in a system of this kind, with its prior spread.

    Spreads are those of the archetype's own file where it states one. A maker's resin may be several
    times as fast as the archetype, so the common rate is left wide (assumed).
    """
    spread = {key: _si_spread(base, key) for key in QUANTITIES}
    energy = 3e3 if base.kind == "epoxy" else 5e3
    marks = ("milestones.gel", "milestones.tack_free")
    rows: list[tuple[tuple[tuple[str, float], ...], float, str, str, str]] = [
        (_alike("kinetics.k1", "kinetics.k2"), 1.0, "how fast it is", "any time", ""),
        (
            (("kinetics.k1", -0.5), ("kinetics.k2", 0.5)),
            0.4,
            "how slowly it starts",
            "an open time beside a gel time",
            "open_time gel",
        ),
        (
            _alike("kinetics.energy_1", "kinetics.energy_2"),
            energy,
            "how much the cold slows it",
            "the same time at another temperature",
            TWO_TEMPERATURES,
        ),
        (
            _alike(marks[0], marks[1]),
            spread[marks[0]],
            "the conversion of gel",
            "a gel time of a film",
            "gel",
        ),
    ]
    rows += [
        (_alike(key), spread[key], words, asks, told)
        for key, words, asks, told in (
            ("milestones.tack_free", "the conversion of tack-free", "a tack-free time", "tack_free"),
            ("kinetics.n", "how slowly it finishes", "a time to sand", "hard"),
            ("kinetics.lead", "how far it goes as a glass", "Tg after a week in the shed", COOL),
            ("network.uncured", "the glass transition of the fresh mix", "Tg after a week in the shed", COOL),
            ("network.full", "the highest glass transition", "Tg after a warm post-cure", WARM),
            ("milestones.stays_put", "from when a layer stays put", "recoat from", "stays_put"),
            ("milestones.open_viscosity", "how thick it may get", "an open time", "open_time"),
            ("thermal.reaction_heat", "how much heat it makes", "pot lives of two masses", TWO_MASSES),
        )
    ]
    if base.kinetics.inhibitor:
        rows.append(
            (
                _alike("kinetics.inhibitor"),
                0.3,
                "how much inhibitor is in it",
                "a gel and a sanding time",
                "gel hard",
            )
        )
    found = [Unknown(*row[:4], frozenset(row[4].split())) for row in rows]
    return tuple(each for each in found if each.sd > 0.0)


def _alike(*keys: str) -> tuple[tuple[str, float], ...]:
    """Keys that move together."""
    return tuple((key, 1.0) for key in keys)


def _features(sheet: MakerSheet) -> frozenset[str]:
    """What a sheet has to tell by."""
    films = {(each.mark, each.temperature) for each in sheet.statements if each.mass is None}
    pots = {(each.mark, each.temperature, each.shape, each.mass) for each in sheet.statements if each.mass}
    found = {mark for mark, _ in films}
    marks = [mark for mark, _ in films] + [f"{pot[0]} {pot[2]} {pot[3]}" for pot in pots]
    if len(marks) > len(set(marks)):
        found.add(TWO_TEMPERATURES)
    if len(pots) > len({pot[:3] for pot in pots}):
        found.add(TWO_MASSES)
    for each in sheet.transitions:
        found.add(WARM if each.schedule[-1][1] >= WARM_FROM else COOL)
    return frozenset(found)


def fit(sheet: MakerSheet, base: ResinSystem) -> Fit:
    """Fit a system to a sheet.

    Parameters
    ----------
    sheet : MakerSheet
    base : ResinSystem
        The archetype that fills what the sheet leaves open; of the same kind.

    Raises
    ------
    ConfigurationError
        The base is of another kind, or the sheet's window closes before it can open.

    Source
    ------
    Regularised nonlinear least squares (scipy.optimize.least_squares) with a Laplace covariance;
    its bands are held against known truths in tests/unit/test_sheet_fit_coverage.py
    """
    if base.kind != sheet.kind:
        raise ConfigurationError(
            f"{sheet.kind} based on {base.name}, {base.kind}",
            f"a base that is {sheet.kind}",
            file=sheet.path,
            key="based_on",
        )
    start = _stated(sheet, base)
    problem = Problem(start, unknowns(start), sheet.statements, sheet.transitions)
    offsets = problem.solve()
    slopes = problem.slopes(offsets)
    covariance = problem.covariance(slopes)
    return _told(sheet, base, problem, (offsets, slopes, covariance))


class Problem:
    """Residuals and slopes of one sheet against one base."""

    def __init__(
        self,
        base: ResinSystem,
        asked: tuple[Unknown, ...],
        statements: Sequence[Statement],
        transitions: Sequence[Transition],
    ) -> None:
        self.base = base
        self.asked = asked
        self.statements = tuple(statements)
        self.transitions = tuple(transitions)
        self.stated = np.array(
            [math.log(each.time) for each in statements] + [each.temperature for each in transitions]
        )
        self.everything: tuple[Statement | Transition, ...] = (*statements, *transitions)
        self.sd = np.array([each.sd for each in self.everything])
        self.corrections = np.zeros(len(self.statements))  # of pots that need shells, in logarithm

    def system(self, offsets: FloatArray) -> ResinSystem:
        """The base, moved."""
        moved: dict[str, float] = {}
        for unknown, offset in zip(self.asked, offsets, strict=True):
            for key, share in unknown.shares:
                moved[key] = moved.get(key, 0.0) + share * unknown.sd * float(offset)
        return _moved(self.base, moved)

    def values(self, many: FloatArray) -> FloatArray:
        """ln of each time and each glass transition, for rows of offsets: (rows, statements)."""
        systems = [self.system(offsets) for offsets in many]
        columns = [
            np.log(self._time(systems, statement)) + correction
            for statement, correction in zip(self.statements, self.corrections, strict=True)
        ]
        columns += [glass_after(systems, each.schedule) for each in self.transitions]
        return np.stack(columns, axis=1)

    def _time(self, systems: list[ResinSystem], statement: Statement) -> FloatArray:
        mark, kelvin = threshold(systems, statement.mark, statement.temperature), statement.temperature
        factor = self.base.dose_factor(statement.peroxide_percent)
        if statement.mass is None:
            return film_time(systems, kelvin, mark, factor)
        loss = np.array([_body_loss(system, statement) for system in systems])
        return pot_time(systems, kelvin, loss, mark, factor)

    def correct(self, offsets: FloatArray) -> float:
        """Take the shells' answer into account; how much that changed in the worst case."""
        system, before = self.system(offsets), self.corrections.copy()
        now = self.values(offsets[None, :])[0]
        for index, statement in enumerate(self.statements):
            if statement.mass is not None:
                plain = float(now[index] - before[index])
                self.corrections[index] = _shells(system, statement, math.exp(plain)) - plain
        return float(np.max(np.abs(self.corrections - before), initial=0.0))

    def slopes(self, offsets: FloatArray) -> FloatArray:
        """Change of each value with each unknown: (statements, unknowns)."""
        step = DIFFERENCE * np.eye(len(self.asked))
        rows = self.values(np.concatenate([offsets + step, offsets - step]))
        ahead, behind = rows[: len(self.asked)], rows[len(self.asked) :]
        return np.asarray((ahead - behind).T / (2.0 * DIFFERENCE), dtype=float)

    def covariance(self, slopes: FloatArray) -> FloatArray:
        """Of the offsets, once the statements are known."""
        scaled = slopes / self.sd[:, None]
        return np.linalg.inv(scaled.T @ scaled + np.eye(len(self.asked)))

    def solve(self) -> FloatArray:
        """The offsets of least squares."""
        from scipy.optimize import least_squares

        def residuals(offsets: FloatArray) -> FloatArray:
            return np.concatenate([(self.values(offsets[None, :])[0] - self.stated) / self.sd, offsets])

        def jacobian(offsets: FloatArray) -> FloatArray:
            return np.concatenate([self.slopes(offsets) / self.sd[:, None], np.eye(offsets.size)])

        offsets = self._first_guess()
        for _ in range(ROUNDS):
            moved = self.correct(offsets)
            found = least_squares(
                residuals, offsets, jac=jacobian, method="trf", ftol=1e-4, xtol=1e-3, max_nfev=40
            )
            offsets = np.asarray(found.x, dtype=float)
            if moved < 0.02:
                break
        return offsets

    def _first_guess(self) -> FloatArray:
        """The common rate alone, scanned: a resin may be ten times as fast as its archetype."""
        many = np.zeros((25, len(self.asked)))
        many[:, 0] = np.linspace(-3.0, 3.0, 25)
        misses = (self.values(many) - self.stated) / self.sd
        return np.asarray(many[np.argmin(np.sum(misses**2, axis=1))], dtype=float)


# ---- one statement


def _body_loss(system: ResinSystem, statement: Statement) -> float:
    transfer = 0.0 if statement.insulated else STILL_AIR
    return body(system, statement.mass or 0.0, statement.shape, transfer).loss


def _shells(system: ResinSystem, statement: Statement, plain: float) -> float:
    """ln of the time by the whole pot model; the plain one where it never comes to that. [s]"""
    found = pot(
        system,
        statement.mass or 0.0,
        statement.temperature,
        shape=statement.shape,
        duration=min(2.0 * plain, 20 * 86400.0),
        peroxide_percent=statement.peroxide_percent,
        transfer=0.0 if statement.insulated else STILL_AIR,
    )
    time = found.pot_life if statement.mark == "gel" else found.working_life
    return math.log(time if math.isfinite(time) and time > 0.0 else plain)


# ---- systems


def _moved(base: ResinSystem, moved: dict[str, float]) -> ResinSystem:
    """The base with parameters moved, held in the ranges that a file allows and in their order."""
    sections: dict[str, dict[str, float]] = {}
    for key, change in moved.items():
        section, _, leaf = key.partition(".")
        now = float(getattr(getattr(base, section), leaf))
        value = now * math.exp(change) if in_logarithm(key) else now + change
        sections.setdefault(section, {})[leaf] = min(max(value, QUANTITIES[key].low), QUANTITIES[key].high)
    marks = sections.get("milestones", {})
    if "gel" in marks:
        marks["tack_free"] = max(marks["tack_free"], marks["gel"])
    parts = {name: replace(getattr(base, name), **values) for name, values in sections.items()}
    return replace(base, **parts)


def _si_spread(base: ResinSystem, key: str) -> float:
    """One standard deviation as the base's file states it, in SI; 0 if it states none."""
    origin = base.origins.get(key)
    if origin is None or origin.spread is None:
        return 0.0
    return origin.spread * QUANTITIES[key].units[origin.spread_unit or unit_of(key)].factor


def _stated(sheet: MakerSheet, base: ResinSystem) -> ResinSystem:
    """The base with all that the sheet states outright."""
    limits, thermal, bond = base.limits, base.thermal, base.bond
    if sheet.lowest_temperature is not None:
        limits = replace(limits, lowest_temperature=sheet.lowest_temperature)
    if sheet.highest_temperature is not None:
        limits = replace(limits, highest_temperature=sheet.highest_temperature)
    if sheet.highest_humidity is not None:
        limits = replace(limits, highest_humidity=sheet.highest_humidity)
    if sheet.reaction_heat is not None:
        thermal = replace(thermal, reaction_heat=sheet.reaction_heat)
    if sheet.recoat_closes is not None:
        closes, kelvin = sheet.recoat_closes
        bond = replace(bond, sheet_closes=closes, sheet_temperature=kelvin)
    blush, surface = base.blush, base.surface
    if sheet.amine_factor is not None and base.kind == "epoxy":
        blush = replace(blush, amine_factor=sheet.amine_factor)
    if sheet.wax is not None:
        surface = replace(surface, wax=sheet.wax)
    return replace(
        base,
        name=sheet.name,
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
    "limits.lowest_temperature": lambda sheet: sheet.lowest_temperature,
    "limits.highest_temperature": lambda sheet: sheet.highest_temperature,
    "limits.highest_humidity": lambda sheet: sheet.highest_humidity,
    "bond.sheet_closes": lambda sheet: sheet.recoat_closes,
    "bond.sheet_temperature": lambda sheet: sheet.recoat_closes,
    "blush.amine_factor": lambda sheet: sheet.amine_factor,
    "mix.hardener_mass": lambda sheet: sheet.mix,
    "mix.resin_density": lambda sheet: sheet.mix,
    "mix.hardener_density": lambda sheet: sheet.mix,
    "mix.tolerance": lambda sheet: sheet.mix,
}


# ---- the answer

Solution = tuple[FloatArray, FloatArray, FloatArray]  # offsets, slopes, covariance


def _told(sheet: MakerSheet, base: ResinSystem, problem: Problem, solution: Solution) -> Fit:
    offsets, _, covariance = solution
    moved = problem.system(offsets)
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
    outright = {
        key: Origin("sheet", sheet.source) for key, said in _OUTRIGHT.items() if said(sheet) is not None
    }
    system = replace(
        moved,
        covariance=Covariance(keys, tuple(tuple(float(value) for value in row) for row in matrix)),
        origins={**base.origins, **fitted, **outright},
    )
    has = _features(sheet)
    prior_left = np.sqrt(np.diag(covariance))
    return Fit(
        system=system,
        base=problem.base,
        changed=(*keys, *outright),
        met=_met(problem, solution),
        contradictions=_contradictions(problem, solution),
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


def _spread_of(system: ResinSystem, key: str, sd: float) -> float:
    section, _, leaf = key.partition(".")
    value = float(getattr(getattr(system, section), leaf))
    return written_spread(key, sd * value if in_logarithm(key) else sd)


def _met(problem: Problem, solution: Solution) -> tuple[Met, ...]:
    offsets, slopes, covariance = solution
    values = problem.values(offsets[None, :])[0]
    found = []
    for index, each in enumerate(problem.everything):
        reach = NINE_IN_TEN * math.sqrt(float(slopes[index] @ covariance @ slopes[index]))
        three = [values[index], values[index] - reach, values[index] + reach, problem.stated[index]]
        computed, early, late, stated = (
            (math.exp(value) for value in three) if isinstance(each, Statement) else map(float, three)
        )
        pull = float((values[index] - problem.stated[index]) / problem.sd[index])
        found.append(Met(each.title, each.line, stated, computed, early, late, pull))
    return tuple(found)


def _contradictions(problem: Problem, solution: Solution) -> tuple[Contradiction, ...]:
    """The pair that is worst together and that each alone could be: at most one is named.

    By the slopes at the solution: how far the pair lies from what the priors foretell, against how
    far each alone does.
    """
    offsets, slopes, _ = solution
    everything = problem.everything
    foretold = problem.values(offsets[None, :])[0] - slopes @ offsets
    away = problem.stated - foretold
    spread = slopes @ slopes.T + np.diag(problem.sd**2)
    worst, pair = CONTRADICTION, None
    for i in range(len(everything)):
        for j in range(i + 1, len(everything)):
            both = away[[i, j]] @ np.linalg.solve(spread[np.ix_([i, j], [i, j])], away[[i, j]])
            alone = max(away[i] ** 2 / spread[i, i], away[j] ** 2 / spread[j, j])
            if both - alone > worst:
                worst, pair = float(both - alone), (i, j)
    if pair is None:
        return ()
    i, j = pair
    middle = foretold[j] + spread[j, i] / spread[i, i] * away[i]
    sd = math.sqrt(spread[j, j] - problem.sd[j] ** 2 - spread[j, i] ** 2 / spread[i, i] + 1e-12)
    low, high, stated = middle - NINE_IN_TEN * sd, middle + NINE_IN_TEN * sd, problem.stated[j]
    if isinstance(everything[j], Statement):
        low, high, stated = math.exp(low), math.exp(high), math.exp(stated)
    return (
        Contradiction(everything[i].title, everything[j].title, (float(low), float(high)), float(stated)),
    )
