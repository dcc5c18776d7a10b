"""What a lot of resin shows of itself corrects the model: each observation makes a new version.

Theory of operation. How fast a lot is, is known beforehand to 20–25 %: the system's ``rate_sd``, of a
log-normal rate factor. A fitted system also carries a covariance of its parameters. An observation
says that something was reached at a time; its logarithm is the model's plus an error of the seeing.
Both are taken as jointly normal about the present best estimate and updated in closed form, the
slopes taken anew until it stands still (an iterated Kalman step). With the rate alone this is a
one-dimensional posterior; a test holds it against that on a fine grid. The result is a system of the
same name and a higher version that names its parent; nothing is overwritten, so an undo is to fold
the remaining observations again.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Any, NamedTuple

import numpy as np

from curewatch.errors import OutOfValidity
from curewatch.materials.resin_writer import unit_of, written_spread
from curewatch.materials.system import Covariance, Origin, ResinSystem
from curewatch.model import film
from curewatch.model.lots import shifted
from curewatch.model.milestones import crossing, milestones
from curewatch.model.pot import pot
from curewatch.units import DAY, HOUR, FloatArray

# what can be seen -> (milestone, one standard deviation of the logarithm of the time: seeing, looking
# in only now and then, and what the model lacks; assumed)
SEEN: dict[str, tuple[str, float]] = {
    "kicked": ("pot", 0.10),
    "gelled": ("gel", 0.15),
    "tack-free": ("tack_free", 0.20),
    "hard": ("hard", 0.25),
}
CUP = "test cup"
CUP_SD = 0.08  # of the time at which a thermometer in a cup had risen; assumed
CUP_OWN = 0.03  # of that, what each moment of a curve has of its own; the rest they share (assumed)
RISES = (15.0, 10.0, 5.0)  # K above the start; the largest that was reached is the one that is told
WITHIN_LOT = 0.04  # batches of one lot still differ: weighing, mixing, water (assumed)
NINE_IN_TEN = 1.645
STRANGE = 3.0  # standard deviations from what was expected
ROUNDS = 4
STEP = 0.02  # of a logarithm, for slopes
POINTS = 400  # of a stored history at most


class Memory(NamedTuple):
    """The outcome of a step, so that a later process need not compute it again."""

    prior: str  # fingerprint of the system it was taken into
    state: FloatArray
    posterior: FloatArray


class Evidence(NamedTuple):
    """One observation with all that the model needs of it."""

    seen: str  # one of SEEN, or CUP
    elapsed: float  # from mixing [s]
    history: film.History  # of the film from mixing; of the air for a pot [s, K]
    mass: float | None = None  # of the pot or cup [kg]
    peroxide_percent: float | None = None
    rise: float = 0.0  # of the thermometer in a cup [K]
    number: int = 0  # its entry in the logbook, 0 for none
    memory: Memory | None = None
    earlier: tuple[tuple[float, float], ...] = ()  # smaller rises of the same curve: time [s], rise [K]

    @property
    def sd(self) -> float:
        """One standard deviation of the logarithm of its time. [1]"""
        return CUP_SD if self.seen == CUP else SEEN[self.seen][1]

    @property
    def times(self) -> FloatArray:
        """When each moment came, the told one first. [s]"""
        return np.array([self.elapsed, *(at for at, _ in self.earlier)])

    @property
    def noise(self) -> FloatArray:
        """Covariance of the logarithms of those times, of the seeing alone: one curve errs as a whole."""
        own = CUP_OWN**2 if self.earlier else 0.0
        return np.asarray((self.sd**2 - own) + own * np.eye(1 + len(self.earlier)))


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one observation did."""

    evidence: Evidence
    before: ResinSystem
    after: ResinSystem
    expected: float  # time the model gave beforehand [s]
    expected_sd: float  # of its logarithm, seeing included [1]
    factor: float  # by which the lot's rate is now estimated otherwise [1]
    spread_before: float  # of the logarithm of this observation's time, by the model [1]
    spread_after: float
    memory: Memory

    @property
    def pull(self) -> float:
        """(seen - expected) in standard deviations; positive is later."""
        return math.log(self.evidence.elapsed / self.expected) / self.expected_sd

    @property
    def strange(self) -> bool:
        """So far from what was expected that a slip is likelier than such a lot."""
        return abs(self.pull) > STRANGE

    @property
    def expected_band(self) -> tuple[float, float]:
        """Nine of ten. [s]"""
        reach = math.exp(NINE_IN_TEN * self.expected_sd)
        return self.expected / reach, self.expected * reach


def learn(system: ResinSystem, evidence: Evidence) -> Lesson:
    """One observation taken into a system.

    Returns
    -------
    Lesson
        ``after`` has the name of ``system``, the next version, and names it as its parent.

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
    _require(system, evidence)
    prior = _prior(system)
    noise = evidence.noise + (0.0 if _rate_is_free(system) else system.rate_sd**2)
    observed, state = np.log(evidence.times), np.zeros(len(prior))
    first = value = _log_times(system, evidence)
    slope = _slopes(system, evidence, state)
    before = float(slope[0] @ prior @ slope[0])
    for _ in range(ROUNDS):
        moved = _gain(prior, slope, noise) @ (observed - value + slope @ state)
        settled = float(np.max(np.abs(moved - state), initial=0.0)) < 1e-3
        state = moved
        if settled:
            break
        value = _log_times(_at(system, state), evidence)
        slope = _slopes(system, evidence, state)
    posterior = prior - _gain(prior, slope, noise) @ slope @ prior
    return Lesson(
        evidence=evidence,
        before=system,
        after=_next_version(system, state, posterior, evidence),
        expected=math.exp(float(first[0])),
        expected_sd=math.sqrt(before + float(noise[0, 0])),
        factor=_rate_change(system, state),
        spread_before=math.sqrt(before),
        spread_after=math.sqrt(max(float(slope[0] @ posterior @ slope[0]), 0.0)),
        memory=Memory(fingerprint(system), state, posterior),
    )


def _gain(prior: FloatArray, slope: FloatArray, noise: FloatArray) -> FloatArray:
    """Kalman's: how far each number of the state moves with each time that was seen."""
    spread = prior @ slope.T
    return np.asarray(np.linalg.solve(slope @ spread + noise, spread.T).T)


def lessons(system: ResinSystem, evidence: Iterable[Evidence]) -> tuple[Lesson, ...]:
    """Fold observations, oldest first; those that say nothing of this resin are passed over."""
    found: list[Lesson] = []
    for each in evidence:
        try:
            found.append(learn(found[-1].after if found else system, each))
        except OutOfValidity:
            continue
    return tuple(found)


def current_system(system: ResinSystem, evidence: Iterable[Evidence]) -> ResinSystem:
    """The system as this lot has shown itself; the same one where nothing was observed.

    A step that is remembered of this very system is taken from memory: the same answer, at once.
    """
    for each in evidence:
        memory = each.memory
        if memory is not None and memory.prior == fingerprint(system):
            system = _next_version(system, memory.state, memory.posterior, each)
            continue
        try:
            system = learn(system, each).after
        except OutOfValidity:
            continue
    return system


def fingerprint(system: ResinSystem) -> str:
    """The same for systems whose numbers are the same."""
    return sha256(repr(system).encode()).hexdigest()[:24]


def cup_evidence(history: film.History, mass: float, peroxide_percent: float | None = None) -> Evidence:
    """What the log of a thermometer in a test cup tells: when it had risen by 5, 10 and 15 K.

    Parameters
    ----------
    history : film.History
        The thermometer, from mixing. Its first reading counts as the temperature of mix and air. [s, K]
    mass : float
        In the cup. [kg]

    Raises
    ------
    OutOfValidity
        It never rose by 5 K.
    """
    start = float(history.temperature[0])
    risen = ((crossing(history.time, history.temperature, start + rise), rise) for rise in RISES)
    moments = [(at, rise) for at, rise in risen if math.isfinite(at) and at > 0.0]
    if moments:
        (at, rise), *earlier = moments
        around = film.constant(start, at)
        return Evidence(CUP, at, around, mass, peroxide_percent, rise, earlier=tuple(earlier))
    highest = float(np.max(history.temperature)) - start
    raise OutOfValidity(
        "rise of the thermometer in K", highest, "5 K or more: a larger cup, a longer log", CUP
    )


# ---- how an observation is stored


def as_plain(evidence: Evidence) -> dict[str, Any]:
    """Plain values for an entry of the logbook: all that is needed to learn from it again."""
    thin = max(1, math.ceil(evidence.history.time.size / POINTS))
    time, temperature = evidence.history.time[::thin], evidence.history.temperature[::thin]
    return {
        "seen": evidence.seen,
        "elapsed": round(evidence.elapsed, 1),
        "history": {
            "time": [round(float(value), 1) for value in time],
            "temperature": [round(float(value), 2) for value in temperature],
        },
        "mass": evidence.mass,
        "peroxide_percent": evidence.peroxide_percent,
        "rise": evidence.rise,
        "earlier": [[round(at, 1), rise] for at, rise in evidence.earlier],
    }


def remembered(lesson: Lesson) -> dict[str, Any]:
    """The outcome of a step as plain values, to stand in the same entry."""
    state, posterior = lesson.memory.state.tolist(), lesson.memory.posterior.tolist()
    return {"prior": lesson.memory.prior, "state": state, "posterior": posterior}


def from_plain(plain: Mapping[str, Any], number: int = 0) -> Evidence:
    """The evidence in such an entry.

    Raises
    ------
    KeyError, TypeError, ValueError
        It is not such an entry.
    """
    path, mass = plain["history"], plain.get("mass")
    time = np.array([float(value) for value in path["time"]])
    temperature = np.array([float(value) for value in path["temperature"]])
    film.require_history(film.History(time, temperature))
    peroxide = plain.get("peroxide_percent")
    seen, elapsed = str(plain["seen"]), float(plain["elapsed"])
    if (seen not in SEEN and seen != CUP) or not elapsed > 0.0:
        raise ValueError(f"not an observation: {seen!r} after {elapsed!r} s")
    return Evidence(
        seen,
        elapsed,
        film.History(time, temperature),
        None if mass is None else float(mass),
        None if peroxide is None else float(peroxide),
        float(plain.get("rise") or 0.0),
        number,
        _memory(plain.get("memory")),
        tuple((float(at), float(rise)) for at, rise in plain.get("earlier") or ()),
    )


def _memory(plain: Any) -> Memory | None:
    """What an entry remembers; nothing where it has no such form."""
    if not isinstance(plain, Mapping):
        return None
    state, posterior = np.array(plain["state"], dtype=float), np.array(plain["posterior"], dtype=float)
    if state.ndim != 1 or posterior.shape != (state.size, state.size):
        return None
    return Memory(str(plain["prior"]), state, posterior)


# ---- the state: offsets of the covariance's parameters, then ln of the rate factor


def _rate_is_free(system: ResinSystem) -> bool:
    """Whether the lot's rate is still to be learnt apart from the fitted parameters."""
    return not system.covariance.keys or system.rate_sd > WITHIN_LOT


def _prior(system: ResinSystem) -> FloatArray:
    keys = len(system.covariance.keys)
    found = np.zeros((keys + 1, keys + 1))
    found[:keys, :keys] = np.array(system.covariance.matrix).reshape(keys, keys)
    found[keys, keys] = system.rate_sd**2 if _rate_is_free(system) else 0.0
    return found


def _at(system: ResinSystem, state: FloatArray) -> ResinSystem:
    moved = shifted(system, state[:-1]) if state.size > 1 else system
    speed = math.exp(float(state[-1]))
    kinetics = replace(moved.kinetics, k1=moved.kinetics.k1 * speed, k2=moved.kinetics.k2 * speed)
    return replace(moved, kinetics=kinetics)


def _slopes(system: ResinSystem, evidence: Evidence, state: FloatArray) -> FloatArray:
    """Change of each ln time with each number of the state, about the state: (moments, numbers)."""
    scale = np.sqrt(np.diag(_prior(system)))
    found = np.zeros((1 + len(evidence.earlier), state.size))
    for index in np.flatnonzero(scale > 0.0):
        step = np.zeros(state.size)
        step[index] = max(STEP * scale[index] / 0.2, 1e-9)
        ahead, behind = (
            _log_times(_at(system, state + way * step), evidence, grid=False) for way in (1.0, -1.0)
        )
        found[:, index] = (ahead - behind) / (2.0 * step[index])
    return found


def _log_times(system: ResinSystem, evidence: Evidence, grid: bool | None = None) -> FloatArray:
    """ln of when the model has each moment that was seen. Never reached counts as very late. [ln s]"""
    latest = 30.0 * evidence.elapsed + DAY
    if evidence.seen in {CUP, "kicked"}:
        spans = (2.5 * evidence.elapsed, 6.0 * evidence.elapsed + HOUR)  # the long one only if it must be
        found = (_in_pot(system, evidence, span, grid) for span in spans)
        at = next(filter(lambda times: bool(np.isfinite(times).all()), found), np.full(1, np.nan))
    else:
        path = _lengthened(evidence.history, latest)
        done = film.cure(system, path, peroxide_percent=evidence.peroxide_percent)
        at = np.array([float(getattr(milestones(system, done), SEEN[evidence.seen][0]))])
    known = np.broadcast_to(np.where(np.isfinite(at) & (at > 0.0), at, latest), evidence.times.shape)
    return np.asarray(np.log(known))


def _in_pot(system: ResinSystem, evidence: Evidence, duration: float, grid: bool | None) -> FloatArray:
    """When the pot kicked, or the thermometer had risen so far each time; nan if not within it. [s]"""
    start = float(evidence.history.temperature[0])
    dose = evidence.peroxide_percent
    mass = evidence.mass or 0.0
    found = pot(system, mass, start, duration=duration, peroxide_percent=dose, grid=grid)
    if evidence.seen != CUP:
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


def _rate_change(system: ResinSystem, state: FloatArray) -> float:
    """Factor on the autocatalysed rate, fitted parameters and lot together."""
    return _at(system, state).kinetics.k2 / system.kinetics.k2


def _next_version(
    system: ResinSystem, state: FloatArray, posterior: FloatArray, evidence: Evidence
) -> ResinSystem:
    keys, moved = system.covariance.keys, _at(system, state)
    lot = math.sqrt(max(float(posterior[-1, -1]), 0.0))
    covariance, rate_sd = system.covariance, max(lot, WITHIN_LOT)
    if keys:  # the lot's rate goes into the rates it multiplies: they are known together from now on
        fold = np.eye(len(keys), len(keys) + 1)
        for key in ("kinetics.k1", "kinetics.k2"):
            fold[keys.index(key), -1] = 1.0
        matrix = fold @ posterior @ fold.T
        covariance = Covariance(keys, tuple(tuple(float(value) for value in row) for row in matrix))
        rate_sd = WITHIN_LOT
    told = f"learned from {evidence.seen}" + (f" (entry {evidence.number})" if evidence.number else "")
    names = ("kinetics.k1", "kinetics.k2", "uncertainty.rate_sd", *keys)
    origins = {key: _learned(moved, key, told, rate_sd) for key in names}
    return replace(
        moved,
        covariance=covariance,
        rate_sd=rate_sd,
        version=system.version + 1,
        parent=f"{system.name} version {system.version}",
        origins={**system.origins, **origins},
    )


def _learned(system: ResinSystem, key: str, told: str, rate_sd: float) -> Origin:
    if key not in {"kinetics.k1", "kinetics.k2"}:
        return Origin("learned", told)
    spread = rate_sd * float(getattr(system.kinetics, key.partition(".")[2]))
    return Origin("learned", told, written_spread(key, spread), unit_of(key))


def _require(system: ResinSystem, evidence: Evidence) -> None:
    if not evidence.elapsed > 0.0:
        raise OutOfValidity("time from mixing in s", evidence.elapsed, "above 0", evidence.seen)
    if evidence.seen in {CUP, "kicked"} and evidence.mass is None:
        raise OutOfValidity("mass in kg", float("nan"), "the mass in the pot", evidence.seen)
    if evidence.seen == "tack-free" and system.surface.air_inhibited and not system.surface.wax:
        raise OutOfValidity(
            "tack-free", float("nan"), "resins whose surface air does not keep tacky", system.name
        )
