"""A question as a person asks it: this resin, on this substrate, by these limits; and its answer.

Whoever knows the configuration builds the :class:`Question` once; ``ask`` then needs only what is known
of the shed and what follows from it. Both come from one look (:mod:`curewatch.shed.look`).
"""

from dataclasses import dataclass

from curewatch.advice.judge import verdict
from curewatch.advice.judge.answer import Advice
from curewatch.advice.judge.limits import Limits
from curewatch.advice.judge.situation import Situation
from curewatch.advice.judge.weather import Paths
from curewatch.materials.resin import Resin
from curewatch.materials.substrate import Substrate
from curewatch.model.film.lots import Lot


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked, apart from the shed's own state."""

    resin: Resin
    limits: Limits
    substrate: Substrate
    batch_mass: float | None = None  # mixed in one pot [kg]
    use_rate: float = verdict.USE_RATE  # how fast a batch is spread [kg/s]
    peroxide_percent: float | None = None
    lots: tuple[Lot, ...] | None = None  # one, or one a path; the resin's own spread if none


def ask(
    question: Question, situation: Situation, outlook: Paths | None, start: float | None = None
) -> Advice:
    """The advice for one start; now if none is given. [UTC s]"""
    return verdict.assess(
        situation,
        question.resin,
        question.limits,
        outlook,
        start,
        batch_mass=question.batch_mass,
        use_rate=question.use_rate,
        peroxide_percent=question.peroxide_percent,
        lots=question.lots,
    )
