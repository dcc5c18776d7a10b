"""How much to mix in one cup, so that each is used up well before it kicks.

A cup's life shortens as it grows, because its own heat stays in; the time to use it up lengthens. The
largest mass at which use takes no more than a share of the life is found by bisection on the pot
model itself.
"""

from collections.abc import Callable
from dataclasses import dataclass

from curewatch.errors import UsageError

SHARE = 0.75  # of its own pot life in which a cup must be used up (ours; the rest is for trouble)
LARGEST = 2.0  # kg, more than one pair of hands carries about in one bucket (assumed)


@dataclass(frozen=True, slots=True)
class Batches:
    """Equal cups that add up to the whole."""

    count: int
    mass: float  # of each [kg]
    use_time: float  # to spread one [s]
    pot_life: float  # of one, at its own mass [s]
    share: float  # the share of its life that may be used [1]

    @property
    def total(self) -> float:
        return self.count * self.mass


def largest(
    pot_life: Callable[[float], float],
    use_rate: float,
    *,
    share: float = SHARE,
    smallest: float = 0.02,
    biggest: float = LARGEST,
) -> float | None:
    """The largest cup that is used up within a share of its own life; none if even the smallest is not.

    Parameters
    ----------
    pot_life : callable
        Life of a cup of this mass [kg] -> [s]; falls as mass grows.
    use_rate : float
        Mixed resin that is spread per second. [kg/s]
    smallest, biggest : float
        The range of masses considered. [kg]
    """

    def fits(mass: float) -> bool:
        return mass / use_rate <= share * pot_life(mass)

    if not fits(smallest):
        return None
    if fits(biggest):
        return biggest
    low, high = smallest, biggest
    while high - low > 0.001:  # a kitchen scale's gram
        middle = (low + high) / 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def split(
    total: float,
    pot_life: Callable[[float], float],
    use_rate: float,
    *,
    share: float = SHARE,
    smallest: float = 0.02,
    biggest: float = LARGEST,
) -> Batches | None:
    """The fewest equal cups for a total; none if no cup can be used up in time.

    Raises
    ------
    UsageError
        The total or the rate is not positive.
    """
    if total <= 0 or use_rate <= 0:
        raise UsageError("the resin to spread and the rate of spreading it must be above 0")
    one = largest(pot_life, use_rate, share=share, smallest=min(smallest, total), biggest=biggest)
    if one is None:
        return None
    count = max(1, -int(-total // one))
    mass = total / count
    return Batches(count, mass, mass / use_rate, pot_life(mass), share)
