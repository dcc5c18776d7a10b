"""Residuals and slopes of a maker's sheet against an archetype, and their least squares.

Pots need shells, which are slow. They are fitted with one temperature and a correction factor,
which is computed anew from the shells at each solution until it stands still.
"""

import math
from collections.abc import Sequence

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from curewatch.materials.maker_sheet import Statement, Transition
from curewatch.materials.quantities import QUANTITIES
from curewatch.materials.resin import Resin
from curewatch.model.film.lots import in_logarithm
from curewatch.model.fit.quick_times import film_time, glass_after, pot_time, threshold
from curewatch.model.fit.sheet_unknowns import Unknown
from curewatch.model.mass.pot import body, pot
from curewatch.units import FloatArray

DIFFERENCE = 0.02  # of an unknown, for the slopes
ROUNDS = 3  # of correcting the pots
KEPT = 2.0  # standard deviations
SCAN, SCANNED = 3.0, 25  # of the common rate, in standard deviations either way


class Problem:
    """Residuals and slopes of one sheet against one base."""

    def __init__(
        self,
        base: Resin,
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
        self.floor = np.array([isinstance(each, Statement) and each.floor for each in self.everything])
        self.corrections = np.zeros(len(self.everything))  # of pots that need shells, in logarithm
        self._known: tuple[bytes, FloatArray, FloatArray] | None = None  # what was asked for last

    def resin(self, offsets: FloatArray) -> Resin:
        """The base, moved. ``offsets`` (unknowns,) [sd]."""
        moved: dict[str, float] = {}
        for unknown, offset in zip(self.asked, offsets, strict=True):
            for key, share in unknown.shares:
                moved[key] = moved.get(key, 0.0) + share * unknown.sd * float(offset)
        return _moved(self.base, moved)

    def values(self, many: FloatArray) -> FloatArray:
        """ln of each time, pots by one temperature, and each glass transition. [ln s, K]

        For rows of offsets: (rows, statements).
        """
        resins = [self.resin(offsets) for offsets in many]
        columns = [np.log(self._time(resins, statement)) for statement in self.statements]
        columns += [glass_after(resins, each.schedule) for each in self.transitions]
        return np.stack(columns, axis=1)

    def _time(self, resins: list[Resin], statement: Statement) -> FloatArray:
        mark, kelvin = threshold(resins, statement.mark, statement.temperature), statement.temperature
        factor = self.base.dose_factor(statement.peroxide_percent)
        if statement.mass is None:
            return film_time(resins, kelvin, mark, factor)
        loss = np.array([_body_loss(resin, statement) for resin in resins])
        return pot_time(resins, kelvin, loss, mark, factor)

    def correct(self, offsets: FloatArray) -> float:
        """Take the shells' answer into account; how much that changed in the worst case.

        ``offsets`` (unknowns,) [sd] -> [ln s]
        """
        resin, before = self.resin(offsets), self.corrections.copy()
        now, _ = self._here(offsets)
        for index, statement in enumerate(self.statements):
            if statement.mass is not None:
                plain = float(now[index])
                self.corrections[index] = _shells(resin, statement, math.exp(plain)) - plain
        return float(np.max(np.abs(self.corrections - before), initial=0.0))

    def slopes(self, offsets: FloatArray) -> FloatArray:
        """Change of each value with each unknown: (statements, unknowns). [ln s, K]"""
        return self._here(offsets)[1]

    def here(self, offsets: FloatArray) -> FloatArray:
        """Each value at one row of offsets: (statements,). [ln s, K]"""
        return self._here(offsets)[0] + self.corrections

    def _here(self, offsets: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Plain values, and slopes: a few variants cost as much as one, and both are asked for in turn."""
        known = offsets.tobytes()
        if self._known is None or self._known[0] != known:
            step = DIFFERENCE * np.eye(len(self.asked))
            rows = self.values(np.concatenate([offsets[None], offsets + step, offsets - step]))
            ahead, behind = rows[1 : 1 + len(self.asked)], rows[1 + len(self.asked) :]
            self._known = known, rows[0], (ahead - behind).T / (2.0 * DIFFERENCE)
        return self._known[1:]

    def pulls(self, values: FloatArray) -> FloatArray:
        """How far each value is from its statement; one that is sooner than a floor keeps it. [1]

        (statements,)
        """
        pull = (values - self.stated) / self.sd
        return np.asarray(np.where(self.floor, np.maximum(pull, 0.0), pull), dtype=float)

    def told(self, values: FloatArray) -> NDArray[np.bool_]:
        """Which statements say something at these values: not a floor that is kept anyway.

        (statements,) [ln s, K] -> (statements,)
        """
        return np.asarray(~self.floor | (values > self.stated))

    def keep(self, offsets: FloatArray) -> bool:
        """Take as floors what is called tack-free long after the film is so; whether there is any.

        ``offsets`` (unknowns,) [sd].
        """
        pull = (self.here(offsets) - self.stated) / self.sd
        later = [
            isinstance(each, Statement) and each.mark == "tack_free" and sooner < -KEPT
            for each, sooner in zip(self.everything, pull, strict=True)
        ]
        self.floor |= np.array(later, dtype=bool)
        return any(later)

    def covariance(self, slopes: FloatArray, values: FloatArray) -> FloatArray:
        """Of the offsets, once the statements are known.

        (statements, unknowns), (statements,) -> (unknowns, unknowns) [sd²]
        """
        scaled = slopes[self.told(values)] / self.sd[self.told(values), None]
        return np.linalg.inv(scaled.T @ scaled + np.eye(len(self.asked)))

    def solve(self) -> FloatArray:
        """The offsets of least squares. (unknowns,) [sd]"""
        from scipy.optimize import least_squares

        def residuals(offsets: FloatArray) -> FloatArray:
            return np.concatenate([self.pulls(self.here(offsets)), offsets])

        def jacobian(offsets: FloatArray) -> FloatArray:
            told = self.told(self.here(offsets))
            slopes = np.where(told[:, None], self.slopes(offsets), 0.0)
            return np.concatenate([slopes / self.sd[:, None], np.eye(offsets.size)])

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
        """The common rate alone, scanned: a resin may be ten times as fast as its archetype.

        By films where there are any: a pot takes many times as long, and more the slower it is.
        """
        told = [each for each in self.statements if each.mass is None] or self.statements
        if not told:
            return np.zeros(len(self.asked))
        many = np.zeros((SCANNED, len(self.asked)))
        many[:, 0] = np.linspace(-SCAN, SCAN, SCANNED)
        quick = Problem(self.base, self.asked, told, ())
        misses = quick.pulls(quick.values(many))
        return np.asarray(many[np.argmin(np.sum(misses**2, axis=1))], dtype=float)


def _body_loss(resin: Resin, statement: Statement) -> float:
    return body(resin, statement.mass or 0.0, statement.shape, insulated=statement.insulated).loss


def _shells(resin: Resin, statement: Statement, plain: float) -> float:
    """ln of the time by the whole pot model; the plain one where it never comes to that. [s]"""
    found = pot(
        resin,
        statement.mass or 0.0,
        statement.temperature,
        shape=statement.shape,
        duration=min(2.0 * plain, 20 * 86400.0),
        peroxide_percent=statement.peroxide_percent,
        insulated=statement.insulated,
        to_gel=True,
    )
    time = found.pot_life if statement.mark == "gel" else found.working_life
    return math.log(time if math.isfinite(time) and time > 0.0 else plain)


def _moved(base: Resin, moved: dict[str, float]) -> Resin:
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
        marks["recoat_from"] = min(marks.get("recoat_from", base.milestones.recoat_from), marks["gel"])
    parts = {name: replace(getattr(base, name), **values) for name, values in sections.items()}
    return replace(base, **parts)
