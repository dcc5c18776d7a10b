"""What a lot of resin shows of itself corrects the model: each observation makes a new version.

Theory of operation. How fast a lot is, is known beforehand to 20–25 %: the resin's ``rate_sd``, of a
log-normal rate factor. A fitted resin also carries a covariance of its parameters. An observation
says that something was reached at a time; its logarithm is the model's plus an error of the seeing.
Both are taken as jointly normal about the present best estimate and updated in closed form, the
slopes taken anew until it stands still (an iterated Kalman step). With the rate alone this is a
one-dimensional posterior; a test holds it against that on a fine grid.

A slip is not evidence. A time outside the 99 % band contradicts: it is likelier a wrong layer or hour
than such a lot. Its error of seeing is then taken as so large that it lies on the edge of the band, which
is a likelihood with a power law for a tail: the farther off, the less it moves. It narrows nothing, and it
counts for its own layer alone, never for another of the lot. The result is a resin of the
same name and a higher version that names its parent; nothing is overwritten, so an undo is to fold
the remaining observations again.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from hashlib import sha256

import numpy as np

from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Covariance, Origin, Resin
from curewatch.materials.resin_writer import unit_of, written_spread
from curewatch.model.film import film
from curewatch.model.film.lots import REACH, shifted
from curewatch.model.film.milestones import crossing, milestones
from curewatch.model.fit.evidence import CUP, OBSERVABLE, Evidence, StepMemory
from curewatch.model.mass.pot import pot
from curewatch.units import DAY, HOUR, FloatArray

WITHIN_LOT = 0.04  # batches of one lot still differ: weighing, mixing, water (assumed)
EDGE = 2.576  # standard deviations from what was expected that hold 99 of 100
ROUNDS = 4
STEP = 0.02  # of a logarithm, for slopes


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one observation did."""

    evidence: Evidence
    before: Resin
    after: Resin
    expected: float  # time the model gave beforehand [s]
    expected_sd: float  # of its logarithm, seeing included [1]
    factor: float  # by which the lot's rate is now estimated otherwise [1]
    spread_before: float  # of the logarithm of this observation's time, by the model [1]
    spread_after: float
    memory: StepMemory

    @property
    def pull(self) -> float:
        """(seen - expected) in standard deviations; positive is later. [1]"""
        return math.log(self.evidence.elapsed / self.expected) / self.expected_sd

    @property
    def contradicts(self) -> bool:
        """Outside the 99 % band: a slip is likelier than such a lot."""
        return abs(self.pull) > EDGE

    @property
    def expected_band(self) -> tuple[float, float]:
        """8 in 10. [s]"""
        return self._within(REACH)

    @property
    def believed_band(self) -> tuple[float, float]:
        """Ninety-nine of a hundred. [s]"""
        return self._within(EDGE)

    def _within(self, deviations: float) -> tuple[float, float]:
        reach = math.exp(deviations * self.expected_sd)
        return self.expected / reach, self.expected * reach

    def counts_for(self, layer: str) -> bool:
        """Whether it is used for a layer; an empty name is the lot as a whole."""
        return _counts(self.evidence, layer, contradicts=self.contradicts)


def learn(resin: Resin, evidence: Evidence) -> Lesson:
    """One observation taken into a resin.

    Returns
    -------
    Lesson
        ``after`` has the name of ``resin``, the next version, and names it as its parent.

    Raises
    ------
    OutOfValidity
        The observation says nothing of this resin: tack-free of one whose surface air keeps tacky, a
        kick without a mass, a time of nought.

    Source
    ------
    Kalman's update with relinearisation; priors and errors of seeing are assumed or from memory, see
    above. Held against a grid posterior in tests/unit/test_learning.py
    """
    _require(resin, evidence)
    prior = _prior(resin)
    noise = evidence.noise + (0.0 if _rate_is_free(resin) else resin.rate_sd**2)
    observed, state = np.log(evidence.times), np.zeros(len(prior))
    first = value = _log_times(resin, evidence)
    slope = _slopes(resin, evidence, state)
    before = float(slope[0] @ prior @ slope[0])
    expected_sd = math.sqrt(before + float(noise[0, 0]))
    pull = float(observed[0] - first[0]) / expected_sd
    contradicts = abs(pull) > EDGE
    if contradicts:
        noise = noise + ((pull / EDGE) ** 2 - 1.0) * expected_sd**2
    for _ in range(ROUNDS):
        moved = _gain(prior, slope, noise) @ (observed - value + slope @ state)
        settled = float(np.max(np.abs(moved - state), initial=0.0)) < 1e-3
        state = moved
        if settled:
            break
        value = _log_times(_at(resin, state), evidence)
        slope = _slopes(resin, evidence, state)
    posterior = prior if contradicts else prior - _gain(prior, slope, noise) @ slope @ prior
    return Lesson(
        evidence=evidence,
        before=resin,
        after=_next_version(resin, state, posterior, evidence),
        expected=math.exp(float(first[0])),
        expected_sd=expected_sd,
        factor=_rate_change(resin, state),
        spread_before=math.sqrt(before),
        spread_after=math.sqrt(max(float(slope[0] @ posterior @ slope[0]), 0.0)),
        memory=StepMemory(fingerprint(resin), state, posterior, contradicts, pull),
    )


def _gain(prior: FloatArray, slope: FloatArray, noise: FloatArray) -> FloatArray:
    """Kalman's: how far each number of the state moves with each time that was seen."""
    spread = prior @ slope.T
    return np.asarray(np.linalg.solve(slope @ spread + noise, spread.T).T)


def _counts(evidence: Evidence, layer: str, *, contradicts: bool) -> bool:
    return not contradicts or (layer != "" and evidence.layer == layer)


def lessons(resin: Resin, evidence: Iterable[Evidence], layer: str = "") -> tuple[Lesson, ...]:
    """Fold observations, oldest first; those that say nothing of this resin are passed over.

    One that does not count for ``layer`` is judged and listed, and the next goes on from before it.
    """
    found: list[Lesson] = []
    for each in evidence:
        try:
            lesson = learn(resin, each)
        except OutOfValidity:
            continue
        found.append(lesson)
        resin = lesson.after if lesson.counts_for(layer) else resin
    return tuple(found)


def current_resin(resin: Resin, evidence: Iterable[Evidence], layer: str = "") -> Resin:
    """The resin as this lot has shown itself; the same one where nothing was observed.

    A step that is remembered of this very resin is taken from memory: the same answer, at once.

    Parameters
    ----------
    layer : str
        Whose times are asked: only for it counts what was seen of it and contradicts. Empty for the
        lot as a whole.
    """
    for each in evidence:
        memory = each.memory
        if memory is not None and memory.prior == fingerprint(resin):
            if _counts(each, layer, contradicts=memory.contradicts):
                resin = _next_version(resin, memory.state, memory.posterior, each)
            continue
        try:
            lesson = learn(resin, each)
        except OutOfValidity:
            continue
        resin = lesson.after if lesson.counts_for(layer) else resin
    return resin


def fingerprint(resin: Resin) -> str:
    """The same for resins whose numbers are the same."""
    return sha256(repr(resin).encode()).hexdigest()[:24]


# ---- the state: offsets of the covariance's parameters, then ln of the rate factor


def _rate_is_free(resin: Resin) -> bool:
    """Whether the lot's rate is still to be learnt apart from the fitted parameters."""
    return not resin.covariance.keys or resin.rate_sd > WITHIN_LOT


def _prior(resin: Resin) -> FloatArray:
    keys = len(resin.covariance.keys)
    found = np.zeros((keys + 1, keys + 1))
    found[:keys, :keys] = np.array(resin.covariance.matrix).reshape(keys, keys)
    found[keys, keys] = resin.rate_sd**2 if _rate_is_free(resin) else 0.0
    return found


def _at(resin: Resin, state: FloatArray) -> Resin:
    moved = shifted(resin, state[:-1]) if state.size > 1 else resin
    speed = math.exp(float(state[-1]))
    return replace(moved, kinetics=moved.kinetics.faster(speed))


def _slopes(resin: Resin, evidence: Evidence, state: FloatArray) -> FloatArray:
    """Change of each ln time with each number of the state, about the state: (moments, numbers)."""
    scale = np.sqrt(np.diag(_prior(resin)))
    found = np.zeros((1 + len(evidence.earlier), state.size))
    for index in np.flatnonzero(scale > 0.0):
        step = np.zeros(state.size)
        step[index] = max(STEP * scale[index] / 0.2, 1e-9)
        ahead, behind = (
            _log_times(_at(resin, state + way * step), evidence, grid=False) for way in (1.0, -1.0)
        )
        found[:, index] = (ahead - behind) / (2.0 * step[index])
    return found


def _log_times(resin: Resin, evidence: Evidence, grid: bool = True) -> FloatArray:
    """ln of when the model has each moment that was seen. Never reached counts as very late. [ln s]"""
    latest = 30.0 * evidence.elapsed + DAY
    if evidence.observed in {CUP, "kicked"}:
        spans = (2.5 * evidence.elapsed, 6.0 * evidence.elapsed + HOUR)  # the long one only if it must be
        found = (_in_pot(resin, evidence, span, grid) for span in spans)
        at = next(filter(lambda times: bool(np.isfinite(times).all()), found), np.full(1, np.nan))
    else:
        path = _lengthened(evidence.history, latest)
        done = film.cure(resin, path, peroxide_percent=evidence.peroxide_percent)
        at = np.array([float(getattr(milestones(resin, done), OBSERVABLE[evidence.observed][0]))])
    known = np.broadcast_to(np.where(np.isfinite(at) & (at > 0.0), at, latest), evidence.times.shape)
    return np.asarray(np.log(known))


def _in_pot(resin: Resin, evidence: Evidence, duration: float, grid: bool) -> FloatArray:
    """When the pot kicked, or the thermometer had risen so far each time; nan if not within it. [s]"""
    start = float(evidence.history.temperature[0])
    dose = evidence.peroxide_percent
    mass = evidence.mass or 0.0
    kicked = evidence.observed != CUP
    found = pot(resin, mass, start, duration=duration, peroxide_percent=dose, grid=grid, to_gel=kicked)
    if kicked:
        return np.array([found.pot_life])
    rises = [evidence.rise, *(rise for _, rise in evidence.earlier)]
    return np.array([crossing(found.time, found.middle, start + rise) for rise in rises])


def _lengthened(history: film.History, until: float) -> film.History:
    """The history, staying at its last temperature after it ends."""
    if history.time[-1] >= until:
        return history
    return film.History(
        np.append(history.time, until), np.append(history.temperature, history.temperature[-1])
    )


def _rate_change(resin: Resin, state: FloatArray) -> float:
    """Factor on the autocatalysed rate, fitted parameters and lot together."""
    return _at(resin, state).kinetics.k2 / resin.kinetics.k2


def _next_version(resin: Resin, state: FloatArray, posterior: FloatArray, evidence: Evidence) -> Resin:
    keys, moved = resin.covariance.keys, _at(resin, state)
    lot = math.sqrt(max(float(posterior[-1, -1]), 0.0))
    covariance, rate_sd = resin.covariance, max(lot, WITHIN_LOT)
    if keys:  # the lot's rate goes into the rates it multiplies: they are known together from now on
        fold = np.eye(len(keys), len(keys) + 1)
        for key in ("kinetics.k1", "kinetics.k2"):
            fold[keys.index(key), -1] = 1.0
        matrix = fold @ posterior @ fold.T
        covariance = Covariance(keys, tuple(tuple(float(value) for value in row) for row in matrix))
        rate_sd = WITHIN_LOT
    told = f"learned from {evidence.observed}" + (f" (entry {evidence.number})" if evidence.number else "")
    names = ("kinetics.k1", "kinetics.k2", "uncertainty.rate_sd", *keys)
    origins = {key: _learned(moved, key, told, rate_sd) for key in names}
    return replace(
        moved,
        covariance=covariance,
        rate_sd=rate_sd,
        version=resin.version + 1,
        parent=f"{resin.name} version {resin.version}",
        origins={**resin.origins, **origins},
    )


def _learned(resin: Resin, key: str, told: str, rate_sd: float) -> Origin:
    if key not in {"kinetics.k1", "kinetics.k2"}:
        return Origin("learned", told)
    spread = rate_sd * float(getattr(resin.kinetics, key.partition(".")[2]))
    return Origin("learned", told, written_spread(key, spread), unit_of(key))


def _require(resin: Resin, evidence: Evidence) -> None:
    if not evidence.elapsed > 0.0:
        raise OutOfValidity("time from mixing in s", evidence.elapsed, "above 0", evidence.observed)
    if evidence.observed in {CUP, "kicked"} and evidence.mass is None:
        raise OutOfValidity("mass in kg", float("nan"), "the mass in the pot", evidence.observed)
    if evidence.observed == "tack-free" and resin.surface.air_inhibited and not resin.surface.wax:
        raise OutOfValidity(
            "tack-free", float("nan"), "resins whose surface air does not keep tacky", resin.name
        )
