"""A question as a person asks it: this resin, on this substrate, by these limits; and its answer.

Whoever knows the configuration builds the :class:`Question` once; ``ask`` then needs only what is known
of the shed and what follows from it. Both come from one look (:mod:`curewatch.shed.look`).
"""

from msgspec import Struct

from curewatch.advice.judge import verdict
from curewatch.advice.judge.answer import Advice
from curewatch.advice.judge.ground import Ground
from curewatch.advice.judge.limits import Limits
from curewatch.advice.judge.situation import Situation
from curewatch.advice.judge.weather import Paths
from curewatch.materials.resin import Resin
from curewatch.materials.substrate import Substrate
from curewatch.model.film.lots import Lot
from curewatch.model.mass.buildup import ONE_FILM, Buildup
from curewatch.model.mass.laminate import FIBRE_MASS_FRACTION, LaminateLayer


class Question(Struct, frozen=True):
    """What is asked, apart from the shed's own state."""

    resin: Resin
    limits: Limits
    substrate: Substrate
    batch_mass: float | None = None  # mixed in one pot [kg]
    use_rate: float = verdict.USE_RATE  # how fast a batch is spread [kg/s]
    peroxide_percent: float | None = None
    ground: Ground | None = None  # what lies below; nothing is asked of it if none
    lots: tuple[Lot, ...] | None = None  # one, or one a path; the resin's own spread if none
    thickness: float = ONE_FILM  # of the layer, all its plies, wetted out [m]
    ply: float = ONE_FILM  # of one of them [m]
    fibre_mass_fraction: float = FIBRE_MASS_FRACTION
    insulated: bool = False  # the substrate's back lets no heat through
    below: tuple[LaminateLayer, ...] = ()  # what it is laid on and is still warm: times in UTC [s]

    @property
    def buildup(self) -> Buildup:
        """The layer as heat sees it, with nothing warm below."""
        return Buildup(self.thickness, self.substrate, self.fibre_mass_fraction, self.insulated)

    def buildup_at(self, start: float) -> Buildup:
        """The same, laid at ``start`` on what lies below; with more starts, the first of them. [UTC s]"""
        earlier = (ply._replace(at=ply.at - start) for ply in self.below if ply.at < start)
        return self.buildup._replace(before=tuple(sorted(earlier, key=lambda ply: ply.at)))


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
        ground=question.ground,
        buildup=question.buildup_at(situation.at if start is None else start),
    )
