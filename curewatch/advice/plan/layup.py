"""From the hole to the schedule: amounts, batches, heat, sessions, as one plan."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from curewatch.advice.judge.answer import stamp
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.advice.plan.amounts import Amounts, Repair, amounts
from curewatch.advice.plan.mixing import CupMix, Proportion, batch, of_resin, smallest_batch
from curewatch.advice.plan.sessions import Schedule, Session, Work, WorkPace, schedule
from curewatch.advice.plan.windows import Span, Strip, strip
from curewatch.materials.resin import Resin
from curewatch.model.air.outlook import Outlook
from curewatch.model.film.film import History
from curewatch.model.film.lots import rate_factor_at
from curewatch.model.mass.laminate import layers_in_one_go
from curewatch.model.mass.pot import pot
from curewatch.units import DAY, HOUR

FAST = 0.9  # batches are sized for a lot faster than nine in ten
LONGEST = 12 * HOUR  # s a pot is followed for
PARTS = ("hardener", "peroxide")  # what is added to a resin
REFERENCE_CUP = 0.15  # kg at which the pot with its hot middle is compared with the plain one


class Hands(NamedTuple):
    """Who does the work and with what."""

    people: int = 1
    wet_out: float | None = None  # the user's own, one layer, one person [s/m²]
    scale_step: float = 1e-3  # [kg]


@dataclass(frozen=True, slots=True)
class LayupPlan:
    """Everything the bench needs. ``schedule`` is none where the coming hours are unknown."""

    repair: Repair
    resin: Resin
    amounts: Amounts
    proportion: Proportion
    works: tuple[Work, ...]
    schedule: Schedule | None = None
    peak_temperature: float | None = None  # of as many layers as go on at once [K]
    basis: str = ""

    def cup(self, session: Session) -> CupMix | None:
        """One batch of a session as the scale should read it, however fine that scale must be."""
        return (
            None if session.batches is None else batch(self.proportion, session.batches.mass, scale_step=0.0)
        )

    def too_small_for(self, session: Session, scale_step: float) -> bool:
        """Whether this scale weighs such a batch too coarsely for what the ratio bears."""
        smallest = smallest_batch(self.proportion, scale_step)
        return session.batches is not None and session.batches.mass < smallest


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
    return LayupPlan(repair, resin, made, proportion, _works(repair, made, resin, hands))


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
    starts = strip(question, situation, outlook, working)
    heat = layers_in_one_go(
        question.resin,
        known.amounts.layer_thickness,
        _air(outlook, starts),
        question.substrate,
        fibre_mass_fraction=repair.cloth.fibre_mass_fraction,
        peroxide_percent=question.peroxide_percent,
    )
    pace = WorkPace(
        max(1, heat.layers),
        _pot_life(question, outlook),
        working,
        smallest_batch(known.proportion, hands.scale_step),
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
    )


def _works(repair: Repair, made: Amounts, resin: Resin, hands: Hands) -> tuple[Work, ...]:
    """Each layer's resin and time; the sealing coat goes with the first layer of each side."""
    wet_out = hands.wet_out or repair.cloth.wet_out_time(resin.kind)
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


def _air(outlook: Outlook, starts: Strip) -> History:
    """The middle of the air for a day from the first window on; from now on if there is none."""
    begin = float(starts.starts.start[starts.windows[0].best]) if starts.windows else float(outlook.time[0])
    time = outlook.time[(outlook.time >= begin) & (outlook.time <= begin + DAY)]
    middle = np.median(outlook.air_temperature, axis=0)
    return History(time - time[0], np.interp(time, outlook.time, middle))


def _pot_life(question: Question, outlook: Outlook) -> Callable[[float, float], float]:
    """Life of a batch by its mass and start, for a fast lot, at the middle of the outlook's air.

    The plain pot is corrected by how much sooner the one with a hot middle kicks at a usual mass.
    """
    resin, dose = question.resin, question.peroxide_percent
    factor = rate_factor_at(resin, FAST)
    middle = np.median(outlook.air_temperature, axis=0)

    def life(mass: float, air: float, *, grid: bool) -> float:
        found = pot(
            resin, mass, air, rate_factor=factor, peroxide_percent=dose, duration=LONGEST, grid=grid
        ).pot_life
        return LONGEST if np.isnan(found) else found

    @lru_cache(maxsize=64)
    def correction(air: float) -> float:
        return life(REFERENCE_CUP, air, grid=True) / life(REFERENCE_CUP, air, grid=False)

    def pot_life(mass: float, begin: float) -> float:
        air = round(float(np.interp(begin, outlook.time, middle)))
        return correction(float(air)) * life(mass, float(air), grid=False)

    return pot_life


# ---- as plain values


def as_plain(one: LayupPlan) -> dict[str, Any]:
    """The plan for JSON: millimetres, grams, square metres, millilitres; stamps in ISO 8601 UTC."""
    made, taper = one.amounts, one.amounts.taper
    usual, dosed = round(100 * one.proportion.usual, 2), one.proportion.added == "peroxide"
    return {
        "resin": one.resin.name,
        "scarf_mm": round(taper.scarf * 1e3, 1),
        "ground_area_m2": round(taper.ground_area, 5),
        "layer_thickness_mm": round(made.layer_thickness * 1e3, 3),
        "layers": [
            {
                "number": patch.number,
                "side": patch.side,
                "length_mm": round(patch.length * 1e3, 1),
                "width_mm": round(patch.width * 1e3, 1),
                "area_m2": round(patch.area, 5),
                "mixed_g": round(work.resin * 1e3, 1),
            }
            for patch, work in zip(made.layers, one.works, strict=True)
        ],
        "cloth_m2": round(made.cloth_area, 4),
        "cloth_g": round(made.cloth_mass * 1e3, 1),
        "mixed_g": round(made.mixed * 1e3, 1),
        "resin_g": round(made.resin * 1e3, 1),
        **_added(one, "g", made.added * 1e3),
        "resin_ml": round(made.resin_volume * 1e6, 1),
        **_added(one, "ml", made.added_volume * 1e6),
        "ratio": {
            "hardener_per_100": None if dosed else usual,
            "peroxide_percent": usual if dosed else None,
            "peroxide_assumed": one.proportion.assumed,
            "lowest": round(100 * one.proportion.lowest, 2),
            "highest": round(100 * one.proportion.highest, 2),
        },
        "schedule": None if one.schedule is None else _plain_schedule(one, one.schedule),
    }


def _added(one: LayupPlan, unit: str, amount: float | None) -> dict[str, float | None]:
    """What is added to the resin under its own name, none under the other."""
    said = None if amount is None else round(amount, 1)
    return {f"{what}_{unit}": said if what == one.proportion.added else None for what in PARTS}


def _plain_schedule(one: LayupPlan, made: Schedule) -> dict[str, Any]:
    return {
        "layers_in_one_go": made.layers_in_one_go,
        "sessions": [_plain_session(one, session) for session in made.sessions],
        "left_over": [work.number for work in made.left_over],
        "basis": one.basis,
    }


def _plain_session(one: LayupPlan, session: Session) -> dict[str, Any]:
    batches, cup = session.batches, one.cup(session)
    return {
        "begin": stamp(session.begin),
        "end": stamp(session.end),
        "layers": [work.number for work in session.layers],
        "side": session.layers[0].side,
        "bond": session.bond,
        "batches": None if batches is None else batches.count,
        "batch_mass_g": None if batches is None else round(batches.mass * 1e3, 1),
        "resin_g": None if cup is None else round(cup.resin * 1e3, 1),
        **_added(one, "g", None if cup is None else cup.added * 1e3),
        "use_within_min": None if batches is None else round(batches.share * batches.pot_life / 60, 1),
        "next_from": stamp(session.next_from),
        "next_before": stamp(session.next_before),
        "probability": round(session.probability, 3),
    }
