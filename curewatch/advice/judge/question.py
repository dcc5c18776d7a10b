"""A question as a person asks it: this resin, on this substrate, by these limits; and its answer.

Whoever knows the configuration builds the :class:`Question` once; ``ask`` then needs only what is known
of the shed. Everything that gives an answer goes through here: the command, the board, the demo.
"""

from dataclasses import dataclass, replace

import numpy as np

from curewatch.advice.judge import verdict
from curewatch.advice.judge.answer import Advice
from curewatch.advice.judge.limits import Limits
from curewatch.advice.judge.situation import Place, Situation
from curewatch.materials.resin import Resin
from curewatch.materials.substrate import Substrate
from curewatch.model.air import outlook, prospect, surface
from curewatch.model.air.forecast import usable
from curewatch.model.air.shed import identify
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
    carbon_dioxide: float = 420e-6  # mole fraction where no sensor measures it [1]
    lots: tuple[Lot, ...] | None = None  # one, or one a path; the system's own spread if none


def ask(
    question: Question,
    situation: Situation,
    start: float | None = None,
    coming: outlook.Outlook | None = None,
) -> Advice:
    """The advice for one start; now if none is given. ``coming`` are the coming hours, if known already."""
    known = with_surface(situation, question.substrate)
    if known.carbon_dioxide is None:
        known = replace(known, carbon_dioxide=question.carbon_dioxide)
    return verdict.assess(
        known,
        question.resin,
        question.limits,
        coming or coming_hours(known, question.substrate),
        start,
        batch_mass=question.batch_mass,
        use_rate=question.use_rate,
        peroxide_percent=question.peroxide_percent,
        lots=question.lots,
    )


def with_surface(situation: Situation, substrate: Substrate) -> Situation:
    """The situation with a surface: the probe's, or one estimated from the air, marked as such.

    A surface sensor that is configured but silent is a trouble of the situation and stays one.
    """
    air = situation.air
    if situation.surface is not None or air is None or air.temperature is None:
        return situation
    estimate = surface.estimated_now(situation.past, situation.at, air.temperature, substrate)
    return replace(
        situation,
        surface=Place(
            sensor=air.sensor,
            role="surface",
            time=air.time,
            temperature=float(estimate.temperature),
            temperature_sd=float(np.hypot(estimate.sd, air.temperature_sd)),
            estimated=True,
        ),
    )


def coming_hours(
    situation: Situation,
    substrate: Substrate,
    *,
    length: float = outlook.LENGTH,
) -> outlook.Outlook | None:
    """The outlook from what is known, so long [s]; none where there is no whole air reading."""
    air, below = situation.air, situation.surface
    if air is None or air.temperature is None or air.vapour_pressure is None:
        return None
    newest = situation.forecasts[-1] if situation.forecasts else None
    told = newest is not None and usable(newest, situation.at)
    return prospect.coming_hours(
        situation.past,
        situation.at,
        air.temperature,
        air.vapour_pressure,
        None if below is None else below.temperature,
        substrate=substrate,
        forecast=newest,
        earlier=situation.forecasts[:-1],
        shed=identify(situation.past) if told else None,
        length=length,
    )
