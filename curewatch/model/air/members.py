"""Normal numbers that spread evenly and are the same on every machine: the seeds of outlook members.

A pseudo-random stream may change with the library's version; a low-discrepancy sequence does not, and
covers its space better for the few hundred members an outlook has.
"""

from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from curewatch.errors import OutOfValidity
from curewatch.units import FloatArray

PRIMES = (2, 3, 5, 7, 11, 13)


def even_ranks(members: int, dimensions: int) -> NDArray[np.int64]:
    """A ladder of ranks 0 … members-1 in each column, so that the rows fill the cube evenly.

    Raises
    ------
    OutOfValidity
        More dimensions than there are primes here.

    Source
    ------
    J. H. Halton, Numer. Math. 2:84 (1960): radical inverses in prime bases, here replaced by their
    ranks, so that each column alone is as even as the count allows.
    """
    if not 1 <= dimensions <= len(PRIMES):
        raise OutOfValidity("dimensions", dimensions, f"1 to {len(PRIMES)}", "the Halton sequence")
    count = np.arange(1, members + 1)
    columns = np.stack([_radical_inverse(count, base) for base in PRIMES[:dimensions]], axis=1)
    return np.argsort(np.argsort(columns, axis=0, kind="stable"), axis=0, kind="stable")


@lru_cache(maxsize=16)
def normal_members(members: int, dimensions: int) -> FloatArray:
    """Standard normal numbers, shape (members, dimensions); each column is an even set of quantiles. [1]"""
    quantile = NormalDist().inv_cdf
    ladder = np.array([quantile((rank + 0.5) / members) for rank in range(members)])
    return np.asarray(ladder[even_ranks(members, dimensions)])


def _radical_inverse(count: NDArray[np.int64], base: int) -> FloatArray:
    """The digits of a number in a base, mirrored at the point."""
    mirrored, place, rest = np.zeros(len(count)), 1.0 / base, count
    while rest.any():
        mirrored += place * (rest % base)
        rest, place = rest // base, place / base
    return mirrored
