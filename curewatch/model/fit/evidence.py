"""What somebody saw of a film or a pot, with all that the model needs of it; and as plain values."""

import math
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from curewatch.errors import OutOfValidity
from curewatch.model.film import film
from curewatch.model.film.milestones import crossing
from curewatch.units import FloatArray

# what can be seen -> (milestone, one standard deviation of the logarithm of the time: seeing, looking
# in only now and then, and what the model lacks; assumed)
OBSERVABLE: dict[str, tuple[str, float]] = {
    "kicked": ("pot", 0.10),
    "gelled": ("gel", 0.15),
    "tack-free": ("tack_free", 0.20),
    "firm": ("firm", 0.25),
}
CUP = "test cup"
CUP_SD = 0.08  # of the time at which a thermometer in a cup had risen; assumed
CUP_OWN = 0.03  # of that, what each moment of a curve has of its own; the rest they share (assumed)
RISES = (15.0, 10.0, 5.0)  # K above the start; the largest that was reached is the one that is told
POINTS = 400  # of a stored history at most


class StepMemory(NamedTuple):
    """The outcome of a step, so that a later process need not compute it again."""

    prior: str  # fingerprint of the resin it was taken into
    state: FloatArray
    posterior: FloatArray
    contradicts: bool = False  # it lay outside what was expected
    pull: float | None = None  # how late it came then, in standard deviations; none in an older entry [1]
    together: tuple[str, ...] = ()  # mixes whose earlier contradictions it bears out


class Evidence(NamedTuple):
    """One observation with all that the model needs of it."""

    observed: str  # one of OBSERVABLE, or CUP
    elapsed: float  # from mixing [s]
    history: film.History  # of the film from mixing; of the air for a pot [s, K]
    mass: float | None = None  # of the pot or cup [kg]
    peroxide_percent: float | None = None
    rise: float = 0.0  # of the thermometer in a cup [K]
    number: int = 0  # its entry in the logbook, 0 for none
    memory: StepMemory | None = None
    earlier: tuple[tuple[float, float], ...] = ()  # smaller rises of the same curve: time [s], rise [K]
    layer: str = ""  # of which it was seen; empty for a test cup

    @property
    def sd(self) -> float:
        """One standard deviation of the logarithm of its time. [1]"""
        return CUP_SD if self.observed == CUP else OBSERVABLE[self.observed][1]

    @property
    def times(self) -> FloatArray:
        """When each moment came, the told one first. [s] (moments,)"""
        return np.array([self.elapsed, *(at for at, _ in self.earlier)])

    @property
    def noise(self) -> FloatArray:
        """Covariance of the logarithms of those times, of the seeing alone: one curve errs as a whole.

        (moments, moments) [1]
        """
        own = CUP_OWN**2 if self.earlier else 0.0
        return np.asarray((self.sd**2 - own) + own * np.eye(1 + len(self.earlier)))


class CupLog(NamedTuple):
    """What a thermometer in a test cup wrote, from mixing on."""

    history: film.History
    began: float | None = None  # UTC; none where its times are no moments [s]
    air: film.History | None = None  # around it, where that was written too


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


def as_plain(evidence: Evidence) -> dict[str, Any]:
    """Plain values for an entry of the logbook: all that is needed to learn from it again."""
    thin = max(1, math.ceil(evidence.history.time.size / POINTS))
    time, temperature = evidence.history.time[::thin], evidence.history.temperature[::thin]
    return {
        "observed": evidence.observed,
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


def remembered(memory: StepMemory) -> dict[str, Any]:
    """The outcome of a step as plain values, to stand in the same entry."""
    state, posterior = memory.state.tolist(), memory.posterior.tolist()
    found = {"prior": memory.prior, "state": state, "posterior": posterior}
    found |= {} if memory.pull is None else {"pull": round(memory.pull, 3)}
    found |= {"together": list(memory.together)} if memory.together else {}
    return found | ({"contradicts": True} if memory.contradicts else {})


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
    observed, elapsed = str(plain["observed"]), float(plain["elapsed"])
    if (observed not in OBSERVABLE and observed != CUP) or not elapsed > 0.0:
        raise ValueError(f"not an observation: {observed!r} after {elapsed!r} s")
    return Evidence(
        observed,
        elapsed,
        film.History(time, temperature),
        None if mass is None else float(mass),
        None if peroxide is None else float(peroxide),
        float(plain.get("rise") or 0.0),
        number,
        _memory(plain.get("memory")),
        tuple((float(at), float(rise)) for at, rise in plain.get("earlier") or ()),
        str(plain.get("layer") or ""),
    )


def _memory(plain: Any) -> StepMemory | None:
    """What an entry remembers; nothing where it has no such form."""
    if not isinstance(plain, Mapping):
        return None
    state, posterior = np.array(plain["state"], dtype=float), np.array(plain["posterior"], dtype=float)
    if state.ndim != 1 or posterior.shape != (state.size, state.size):
        return None
    pull = plain.get("pull")
    contradicts = bool(plain.get("contradicts"))
    late = float(pull) if isinstance(pull, int | float) and math.isfinite(pull) else None
    together = tuple(map(str, plain.get("together") or ()))
    return StepMemory(str(plain["prior"]), state, posterior, contradicts, late, together)
