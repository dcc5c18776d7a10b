"""From the hole to the schedule: amounts, batches, heat, sessions, as one plan."""

from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from curewatch.advice.judge.answer import Check
from curewatch.advice.judge.batches import LARGEST
from curewatch.advice.judge.ground import known_checks
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.advice.plan.amounts import Amounts, Repair, amounts
from curewatch.advice.plan.mixing import CupMix, Proportion, batch, of_resin, smallest_batch
from curewatch.advice.plan.sessions import Laid, NextLayer, Schedule, Session, Work, WorkPace, schedule
from curewatch.advice.plan.windows import Span, Strip, hottest, next_layer, strip
from curewatch.materials.resin import Resin
from curewatch.model.air.outlook import Outlook
from curewatch.model.film.film import History
from curewatch.model.film.lots import rate_factor_at
from curewatch.model.mass.buildup import THICKEST
from curewatch.model.mass.laminate import MOST, LaminateLayer, LayerCount, layers_in_one_go, most_at_once
from curewatch.model.mass.pot import pot
from curewatch.order import median
from curewatch.units import DAY, HOUR

FAST = 0.9  # batches are sized for a lot faster than nine in ten
LONGEST = 12 * HOUR  # s a pot is followed for
REFERENCE_CUP = 0.15  # kg at which the pot with its hot middle is compared with the plain one


class Hands(NamedTuple):
    """Who does the work and with what."""

    people: int = 1
    wet_out: float | None = None  # the user's own, one layer, one person [s/m²]
    scale_step: float = 1e-3  # [kg]


class LayupPlan(Struct, frozen=True):
    """Everything the bench needs. ``schedule`` is none where the coming hours are unknown."""

    repair: Repair
    resin: Resin
    amounts: Amounts
    proportion: Proportion
    works: tuple[Work, ...]
    schedule: Schedule | None = None
    peak_temperature: float | None = None  # of as many layers as go on at once [K]
    basis: str = ""
    below: tuple[Check, ...] = ()  # of the face it is laid on

    def cup(self, session: Session) -> CupMix | None:
        """One batch of a session as the scale should read it, however fine that scale must be."""
        return self._cup(None if session.batches is None else session.batches.mass)

    def last_cup(self, session: Session) -> CupMix | None:
        """The last batch of a session, where it is smaller than the others."""
        return self._cup(None if session.batches is None else session.batches.last)

    def _cup(self, mass: float | None) -> CupMix | None:
        return None if mass is None else batch(self.proportion, mass, scale_step=0.0)

    def too_small_for(self, session: Session, scale_step: float) -> bool:
        """Whether this scale weighs such a batch too coarsely for what the ratio bears.

        ``scale_step`` [kg].
        """
        cup = self.last_cup(session) or self.cup(session)
        return cup is not None and cup.mass < smallest_batch(self.proportion, scale_step)


def bill(repair: Repair, question: Question, hands: Hands) -> LayupPlan:
    """The amounts alone: they need no weather.

    Raises
    ------
    UsageError
        A shape that cannot be built, or a dose that must not be mixed.
    """
    resin = question.resin
    proportion = of_resin(resin, question.peroxide_percent)
    made = amounts(repair, proportion, resin.thermal.density)
    below = () if question.ground is None else known_checks(resin, question.ground)
    return LayupPlan(repair, resin, made, proportion, _works(repair, made, resin, hands), below=below)


def plan(
    repair: Repair,
    question: Question,
    situation: Surfaced,
    outlook: Outlook,
    *,
    working: tuple[Span, ...],
    hands: Hands,
) -> LayupPlan:
    """The amounts, and the sessions they are laid in.

    Parameters
    ----------
    situation : Surfaced
        Without trouble; see :mod:`curewatch.advice.plan.windows`.
    outlook : Outlook
        As long as :data:`curewatch.advice.plan.windows.LENGTH`.
    """
    known = bill(repair, question, hands)
    each, fibre = known.amounts.layer_thickness, repair.cloth.fibre_mass_fraction
    question = replace(question, thickness=each, fibre_mass_fraction=fibre)
    starts = strip(question, situation, outlook, working)
    heat = _at_once(question, situation, outlook, starts)
    pace = WorkPace(
        max(1, heat.layers),
        _pot_life(question, outlook),
        working,
        smallest_batch(known.proportion, hands.scale_step),
        min(question.batch_mass or LARGEST, LARGEST),
        _next_layer(question, situation, outlook),
        question.batch_mass,
    )
    return LayupPlan(
        repair,
        question.resin,
        known.amounts,
        known.proportion,
        known.works,
        schedule(known.works, starts, pace),
        heat.peak_temperature,
        outlook.basis,
        known.below,
    )


def _next_layer(question: Question, situation: Surfaced, outlook: Outlook) -> NextLayer:
    """The recoat window of a session, warmed by all it lies on; ``question`` is of one layer."""
    each = question.thickness

    def found(laid: Laid, below: tuple[Laid, ...]) -> tuple[float | None, float | None]:
        plies = tuple(LaminateLayer(at, layers * each) for at, layers in below)
        asked = replace(question, thickness=laid[1] * each, below=(*question.below, *plies))
        return next_layer(asked, situation, outlook, laid[0])

    return found


def _works(repair: Repair, made: Amounts, resin: Resin, hands: Hands) -> tuple[Work, ...]:
    """Each layer's resin and time; the sealing coat goes with the first layer of each side."""
    wet_out = hands.wet_out or repair.cloth.wet_out_time(resin.chemistry)
    more, sealing = 1.0 + repair.waste, made.sealing / repair.sides
    return tuple(
        Work(
            patch.number,
            patch.side,
            more * (resin_mass + (sealing if patch.number == 1 else 0.0)),
            patch.area * wet_out / hands.people,
        )
        for patch, resin_mass in zip(made.layers, made.layer_resin, strict=True)
    )


def _at_once(question: Question, situation: Surfaced, outlook: Outlook, starts: Strip) -> LayerCount:
    """How many layers may go on at once, from the first window on or from now; ``question`` is of one.

    On what is still warm the layers are followed as by every other answer; on a cold face by the laminate.
    """
    begin = float(starts.starts.start[starts.windows[0].best] if starts.windows else situation.at)
    if question.buildup_at(begin).before:

        def peak(count: int) -> float:
            thick = replace(question, thickness=count * question.thickness)
            return hottest(thick, situation, outlook, begin)

        return most_at_once(peak, most=max(1, min(MOST, int(THICKEST / question.thickness))))
    return layers_in_one_go(
        question.resin,
        question.thickness,
        _air(outlook, begin),
        question.substrate,
        fibre_mass_fraction=question.fibre_mass_fraction,
        peroxide_percent=question.peroxide_percent,
        insulated=question.insulated,
    )


def _air(outlook: Outlook, begin: float) -> History:
    """The middle of the air for a day from then on. [UTC s]"""
    time = outlook.time[(outlook.time >= begin) & (outlook.time <= begin + DAY)]
    middle = median(outlook.air_temperature, axis=0)
    return History(time - time[0], np.interp(time, outlook.time, middle))


def _pot_life(question: Question, outlook: Outlook) -> Callable[[float, Span], float]:
    """Life of a batch by its mass, for a fast lot, in the warmest air in which it may be mixed.

    That is of the middle of the outlook, in whole kelvins upwards: all batches of a session are alike.
    The plain pot is corrected by how much sooner the one with a hot middle kicks at a usual mass.
    """
    resin, dose = question.resin, question.peroxide_percent
    factor = rate_factor_at(resin, FAST)
    middle = median(outlook.air_temperature, axis=0)

    def life(mass: float, air: float, *, grid: bool) -> float:
        found = pot(
            resin,
            mass,
            air,
            rate_factor=factor,
            peroxide_percent=dose,
            duration=LONGEST,
            grid=grid,
            to_gel=True,
        ).pot_life
        return LONGEST if np.isnan(found) else found

    @lru_cache(maxsize=64)
    def correction(air: float) -> float:
        return life(REFERENCE_CUP, air, grid=True) / life(REFERENCE_CUP, air, grid=False)

    def pot_life(mass: float, mixed: Span) -> float:
        inside = (outlook.time > mixed.start) & (outlook.time < mixed.end)
        warmest = max(*np.interp(mixed, outlook.time, middle), *middle[inside])
        air = float(np.ceil(warmest))
        return correction(air) * life(mass, air, grid=False)

    return pot_life
