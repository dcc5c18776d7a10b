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
counts for its own layer alone, never for another of the lot. Three mixes that contradict alike are a
lot that really is so far off: they are taken together, from a prior as wide as they are far. The result
is a resin of the same name and a higher version that names its parent; nothing is overwritten, so an undo
is to fold the remaining observations again.
"""

import math
from collections.abc import Iterable, Sequence
from contextlib import suppress
from hashlib import sha256
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

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
ALIKE = 3  # mixes that contradict alike are believed (assumed)
FARTHEST = math.log(
    10.0
)  # of a time from what was expected: no lot is so far off, however often told (assumed)
ROUNDS = 4
STEP = 0.02  # of a logarithm, for slopes


class Lesson(Struct, frozen=True):
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
    together: tuple[Evidence, ...] = ()  # earlier ones that contradicted alike, taken with it

    @property
    def pull(self) -> float:
        """(seen - expected) in standard deviations; positive is later. [1]"""
        return math.log(self.evidence.elapsed / self.expected) / self.expected_sd

    @property
    def contradicts(self) -> bool:
        """Outside the 99 % band, and too few alike: a slip is likelier than such a lot."""
        return self.memory.contradicts

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
        return not self.contradicts or (layer != "" and self.evidence.layer == layer)


class Learnt(NamedTuple):
    """A lot as it has shown itself, and what was seen of it and is not believed."""

    resin: Resin
    doubted: tuple[Evidence, ...] = ()  # each with its memory


def learn(resin: Resin, evidence: Evidence, doubted: Sequence[Evidence] = ()) -> Lesson:
    """One observation taken into a resin; with it those doubted that it bears out.

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
    prior, seen = _prior(resin), [evidence]
    noise, first, slope = _about(resin, seen, np.zeros(len(prior)), prior)
    before = float(slope[0] @ prior @ slope[0])
    expected_sd = math.sqrt(before + float(noise[0, 0]))
    pull = float(math.log(evidence.elapsed) - first[0]) / expected_sd
    together = _alike(evidence, pull, doubted) if abs(pull * expected_sd) <= FARTHEST else ()
    contradicts = abs(pull) > EDGE and not together
    if contradicts:
        noise = noise + ((pull / EDGE) ** 2 - 1.0) * expected_sd**2
    if together:
        seen, prior = [evidence, *together], prior.copy()
        prior[-1, -1] += (pull * expected_sd) ** 2
        noise, first, slope = _about(resin, seen, np.zeros(len(prior)), prior)
    state, slope = _settled(resin, seen, prior, (noise, first, slope))
    posterior = prior if contradicts else prior - _gain(prior, slope, noise) @ slope @ prior
    known = StepMemory(
        fingerprint(resin, doubted), state, posterior, contradicts, pull, tuple(map(_mix, together))
    )
    return Lesson(
        evidence=evidence,
        before=resin,
        after=_next_version(resin, state, posterior, evidence),
        expected=math.exp(float(first[0])),
        expected_sd=expected_sd,
        factor=_rate_change(resin, state),
        spread_before=math.sqrt(before),
        spread_after=math.sqrt(max(float(slope[0] @ posterior @ slope[0]), 0.0)),
        memory=known,
        together=together,
    )


def _alike(evidence: Evidence, pull: float, doubted: Sequence[Evidence]) -> tuple[Evidence, ...]:
    """Those of other mixes that contradict as much and the same way; none if they are too few."""
    if abs(pull) <= EDGE:
        return ()
    found = {_mix(each): each for each in doubted if _mix(each) != _mix(evidence) and _near(each, pull)}
    return tuple(found.values()) if len(found) + 1 >= ALIKE else ()


def _near(doubted: Evidence, pull: float) -> bool:
    """What contradicts lies beyond the edge, so two that do so on different sides are never near."""
    late = None if doubted.memory is None else doubted.memory.pull
    return late is not None and abs(late - pull) < EDGE


def _mix(evidence: Evidence) -> str:
    """What was seen of one layer is of one mix; so is a cup."""
    return evidence.layer or f"cup {evidence.number}"


def _about(
    resin: Resin, seen: Sequence[Evidence], state: FloatArray, prior: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Noise of all moments seen, their ln times about a state, and the slopes there."""
    times = _log_times(_at(resin, state), seen)
    return _noise(resin, seen), times, _slopes(resin, seen, state, prior)


def _settled(
    resin: Resin,
    seen: Sequence[Evidence],
    prior: FloatArray,
    start: tuple[FloatArray, FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray]:
    """The state where the step stands still, and the slopes about it; ``start`` is about nought."""
    observed, state = np.log(np.concatenate([each.times for each in seen])), np.zeros(len(prior))
    noise, value, slope = start
    for _ in range(ROUNDS):
        moved = _gain(prior, slope, noise) @ (observed - value + slope @ state)
        settled = float(np.max(np.abs(moved - state), initial=0.0)) < 1e-3
        state = moved
        if settled:
            break
        _, value, slope = _about(resin, seen, state, prior)
    return state, slope


def _gain(prior: FloatArray, slope: FloatArray, noise: FloatArray) -> FloatArray:
    """Kalman's: how far each number of the state moves with each time that was seen."""
    spread = prior @ slope.T
    return np.asarray(np.linalg.solve(slope @ spread + noise, spread.T).T)


def lessons(resin: Resin, evidence: Iterable[Evidence]) -> tuple[Lesson, ...]:
    """Fold observations, oldest first; those that say nothing of this resin are passed over.

    One that contradicts is judged and listed, and the next goes on from before it.
    """
    found: list[Lesson] = []
    lot = Learnt(resin)
    for each in evidence:
        try:
            lesson = learn(lot.resin, each, lot.doubted)
        except OutOfValidity:
            continue
        found.append(lesson)
        lot = _with(lot, each._replace(memory=lesson.memory))
    return tuple(found)


def folded(resin: Resin, evidence: Iterable[Evidence]) -> Learnt:
    """The lot after all that was seen of it, oldest first.

    A step that is remembered of this very lot is taken from memory: the same answer, at once.
    """
    lot = Learnt(resin)
    for each in evidence:
        with suppress(OutOfValidity):
            lot = _with(lot, _remembering(lot, each))
    return lot


def current_resin(resin: Resin, evidence: Iterable[Evidence], layer: str = "") -> Resin:
    """The resin as this lot has shown itself; the same one where nothing was observed.

    Parameters
    ----------
    layer : str
        Whose times are asked: only for it counts what was seen of it and contradicts. Empty for the
        lot as a whole.
    """
    lot = folded(resin, evidence)
    own = Learnt(lot.resin)
    for each in lot.doubted:
        if layer and each.layer == layer:
            own = Learnt(_after(own.resin, _remembering(own, each)))
    return own.resin


def _remembering(lot: Learnt, evidence: Evidence) -> Evidence:
    """With what it does to this lot: from memory, or computed."""
    memory = evidence.memory
    if memory is not None and memory.prior == fingerprint(lot.resin, lot.doubted):
        return evidence
    return evidence._replace(memory=learn(lot.resin, evidence, lot.doubted).memory)


def _with(lot: Learnt, evidence: Evidence) -> Learnt:
    """The lot after one more step, which the evidence remembers."""
    memory = evidence.memory
    if memory is not None and memory.contradicts:
        return Learnt(lot.resin, (*lot.doubted, evidence))
    left = () if memory is None else (each for each in lot.doubted if _mix(each) not in memory.together)
    return Learnt(_after(lot.resin, evidence), tuple(left))


def _after(resin: Resin, evidence: Evidence) -> Resin:
    memory = evidence.memory
    return resin if memory is None else _next_version(resin, memory.state, memory.posterior, evidence)


def fingerprint(resin: Resin, doubted: Sequence[Evidence] = ()) -> str:
    """The same for resins whose numbers are the same, and the same doubts about what was seen of them."""
    doubts = "".join(f" {_mix(each)} {each.observed} {each.elapsed:.1f}" for each in doubted)
    return sha256((repr(resin) + doubts).encode()).hexdigest()[:24]


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


def _noise(resin: Resin, seen: Sequence[Evidence]) -> FloatArray:
    """Covariance of the logarithms of all times seen: each mix errs by itself. (moments, moments) [1]"""
    lot = 0.0 if _rate_is_free(resin) else resin.rate_sd**2
    mixes = np.repeat(np.arange(len(seen)), [each.times.size for each in seen])
    found = np.zeros((mixes.size, mixes.size))
    for number, each in enumerate(seen):
        found[np.ix_(mixes == number, mixes == number)] = each.noise + lot
    return found


def _slopes(resin: Resin, seen: Sequence[Evidence], state: FloatArray, prior: FloatArray) -> FloatArray:
    """Change of each ln time with each number of the state, about the state: (moments, numbers)."""
    scale = np.sqrt(np.diag(prior))
    found = np.zeros((sum(each.times.size for each in seen), state.size))
    for index in np.flatnonzero(scale > 0.0):
        step = np.zeros(state.size)
        step[index] = max(STEP * scale[index] / 0.2, 1e-9)
        ahead, behind = (_log_times(_at(resin, state + way * step), seen, grid=False) for way in (1.0, -1.0))
        found[:, index] = (ahead - behind) / (2.0 * step[index])
    return found


def _log_times(resin: Resin, seen: Sequence[Evidence], grid: bool = True) -> FloatArray:
    """ln of when the model has each moment that was seen. Never reached counts as very late. [ln s]"""
    return np.concatenate([np.log(_moments(resin, each, grid)) for each in seen])


def _moments(resin: Resin, evidence: Evidence, grid: bool) -> FloatArray:
    latest = 30.0 * evidence.elapsed + DAY
    if evidence.observed in {CUP, "kicked"}:
        spans = (2.5 * evidence.elapsed, 6.0 * evidence.elapsed + HOUR)  # the long one only if it must be
        found = (_in_pot(resin, evidence, span, grid) for span in spans)
        at = next(filter(lambda times: bool(np.isfinite(times).all()), found), np.full(1, np.nan))
    else:
        path = _lengthened(evidence.history, latest)
        done = film.cure(resin, path, peroxide_percent=evidence.peroxide_percent)
        at = np.array([float(getattr(milestones(resin, done), OBSERVABLE[evidence.observed][0]))])
    return np.broadcast_to(np.where(np.isfinite(at) & (at > 0.0), at, latest), evidence.times.shape)


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
