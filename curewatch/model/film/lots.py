"""How lots of one resin differ: its uncertainty as a few stated variants, shared out over members.

Theory of operation. A band must hold the uncertainty of the resin as well as that of the weather.
The rate of a lot is log-normal; what a fit left uncertain is jointly normal. Both are cut into
strata of equal probability with a fixed order, so the same question always gets the same answer.
"""

from functools import lru_cache
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from msgspec.structs import replace
from numpy.typing import ArrayLike, NDArray

from curewatch.materials.quantities import QUANTITIES, RATE, TIME
from curewatch.materials.resin import Resin
from curewatch.units import FloatArray

STRATA = 16  # of the rate factor
DRAWS = 16  # of fitted parameters: each costs a table of its own
MEDIAN, EARLY, LATE = 0.5, 0.1, 0.9  # a range that is told holds 8 in 10 outcomes
REACH = NormalDist().inv_cdf(LATE)  # standard deviations either way that hold as many
FAST = 0.95  # a caution about heat must hold for a faster lot than the range shows
LOGARITHMIC = (RATE, TIME)  # kinds of quantity that vary in natural logarithm


class Lot(NamedTuple):
    """One way in which the resin may turn out."""

    resin: Resin
    factor: float


def rate_factors(resin: Resin, count: int = STRATA) -> FloatArray:
    """Rate factors in the middle of ``count`` strata of equal probability, rising. [1] (count,)"""
    return np.array([rate_factor_at(resin, (index + 0.5) / count) for index in range(count)])


def rate_factor_at(resin: Resin, probability: float) -> float:
    """Quantile of the lot's rate factor; 0.95 is a fast lot. [1]"""
    return float(np.exp(resin.rate_sd * NormalDist().inv_cdf(probability)))


def lots(resin: Resin, count: int = STRATA) -> list[Lot]:
    """Equally likely lots: rate strata, joined with draws of whatever a fit left uncertain."""
    factors = rate_factors(resin, count)
    if not resin.covariance.keys:
        return [Lot(resin, float(factor)) for factor in factors]
    resins = _drawn(resin)
    order = np.random.default_rng(20).permutation(len(resins))  # no stratum is tied to one draw
    return [Lot(resins[order[index % len(resins)]], float(factor)) for index, factor in enumerate(factors)]


@lru_cache(maxsize=16)
def _drawn(resin: Resin) -> tuple[Resin, ...]:
    """Resins with parameters drawn from the fit's covariance, each direction in strata of its own."""
    matrix = np.array(resin.covariance.matrix)
    value, vector = np.linalg.eigh(matrix)
    shuffle = np.random.default_rng(7)
    strata = np.array([NormalDist().inv_cdf((index + 0.5) / DRAWS) for index in range(DRAWS)])
    strata /= np.std(strata)
    normal = np.stack([shuffle.permutation(strata) for _ in value], axis=1)
    offsets = (normal * np.sqrt(np.maximum(value, 0.0))) @ vector.T
    return tuple(shifted(resin, row) for row in offsets)


def shifted(resin: Resin, offsets: ArrayLike) -> Resin:
    """The resin with the parameters of its covariance moved by ``offsets``, held in their ranges.

    ``offsets`` (keys,) [of each key, or its logarithm].
    """
    changes: dict[str, dict[str, float]] = {}
    for key, offset in zip(resin.covariance.keys, np.asarray(offsets, dtype=float), strict=True):
        section, _, leaf = key.partition(".")
        now = float(getattr(getattr(resin, section), leaf))
        moved = now * float(np.exp(offset)) if in_logarithm(key) else now + float(offset)
        quantity = QUANTITIES[key]
        changes.setdefault(section, {})[leaf] = min(max(moved, quantity.low), quantity.high)
    parts = {section: replace(getattr(resin, section), **values) for section, values in changes.items()}
    return replace(resin, **parts)


def in_logarithm(key: str) -> bool:
    """Whether a parameter of a covariance varies in natural logarithm."""
    return QUANTITIES[key].units in LOGARITHMIC or key == "kinetics.inhibitor"


def shared_out(members: int, count: int) -> NDArray[np.intp]:
    """Which of ``count`` lots each member gets: as even as can be, in a fixed shuffled order."""
    return _shuffled(members) % count


def turn_of(members: int, count: int) -> NDArray[np.intp]:
    """The how manieth member of its lot each is, in the order of :func:`shared_out`."""
    return _shuffled(members) // count


# What numpy's generator gives for the members of an outlook: its import alone takes 10 ms and 2 MB.
SHUFFLED = bytes.fromhex(
    "828436c3f4588b75246a44786bd2f31e199bf75dafc474b45bc12645eca0d453f0e9d1333edcba7aaded46186c9f9c30250f"
    "c7a98921a47d34524f7097be2bcd20ab011d0d4a113979c02f0893d6fb12cc14bc503f470380a2eafa867fb2cfa8b765cb23"
    "b53c859864fdaae75aeb221795156109b8e6d01692a706603a0cd99a2ddaa56649e1c98fa627ff81f5bb1f72a1ee6e48feac"
    "e37bf838f10e406fefbd2969c50b5e4d0755e4dd834b1aa3aec6049d7387fce8711c052c5fd84131ceb66d91c88e2e43b93d"
    "e5caf65788b3960a32428ce01b2a6800f2629e9902bfc251d7e27e28771363d5db3b56905cb14c5994763735f954df8db0d3"
    "de7c8a67104e"
)


@lru_cache(maxsize=16)
def _shuffled(members: int) -> NDArray[np.intp]:
    if members == len(SHUFFLED):
        return np.frombuffer(SHUFFLED, np.uint8).astype(np.intp)
    return np.random.default_rng(11).permutation(np.arange(members))


def lot_below(asked: tuple[Resin, float | None], below: tuple[Resin, float | None]) -> Lot | None:
    """The lot of a layer below one that is asked about; none where resin and dose are the same.

    Each a resin and its dose, the normal one if none. [per cent by mass of resin]
    """
    (resin, dose), (other, its) = asked, below
    factor = other.dose_factor(its)
    same = other.name == resin.name and factor == resin.dose_factor(dose)
    return None if same else Lot(other, factor)
