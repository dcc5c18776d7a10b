"""How much to mix in one cup, so that each is used up well before it kicks.

A cup's life shortens as it grows, because its own heat stays in; the time to use it up lengthens. The
largest mass at which use takes no more than a share of the life is found by bisection on the pot
model itself.
"""

from collections.abc import Callable

from msgspec import Struct

from curewatch.errors import UsageError

SHARE = 0.75  # of its own pot life in which a cup must be used up (ours; the rest is for trouble)
SCALE = 0.001  # kg, a kitchen scale's gram
LARGEST = 2.0  # kg, more than one pair of hands carries about in one bucket (assumed)


class Batches(Struct, frozen=True):
    """Cups that add up to the whole: equal ones, or full ones of the usual size and a smaller last one."""

    count: int
    mass: float  # of each; of each but the last where that is smaller [kg]
    use_time: float  # to spread one [s]
    pot_life: float  # of one, at its own mass [s]
    share: float  # the share of its life that may be used [1]
    last: float | None = None  # of a last cup that is smaller [kg]

    @property
    def total(self) -> float:
        """Of all batches together. [kg]"""
        return self.count * self.mass if self.last is None else (self.count - 1) * self.mass + self.last


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
    while high - low > SCALE:
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
    usual: float | None = None,
) -> Batches | None:
    """The fewest cups for a total; none if no cup can be used up in time.

    They are of the ``usual`` mass [kg], with a smaller last one, where such a cup is used up in time and what
    is left for the last can be weighed. Else they are equal.

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
    count, mass, last = max(1, -int(-total // one)), total, None
    rest = total % usual if usual is not None and SCALE < usual < min(one + SCALE, total) else 0.0
    if usual is not None and smallest <= rest <= usual - SCALE:
        count, mass, last = int(total // usual) + 1, usual, rest
    else:
        mass = total / count
    return Batches(count, mass, mass / use_rate, pot_life(mass), share, last)
