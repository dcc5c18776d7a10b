"""What a lever takes: power, energy, water, and how much trouble it is.

Efforts only rank the levers. They are ours: an hour of waiting counts 1, other numbers say what they
are taken to be worth in such hours.
"""

from msgspec.structs import replace

from curewatch.advice.judge import cautions
from curewatch.advice.judge.answer import Lever
from curewatch.advice.judge.question import Question
from curewatch.advice.remedy.parameters import Means
from curewatch.advice.remedy.search import Found
from curewatch.model.air import warming
from curewatch.model.air.outlook import Outlook
from curewatch.order import median, quantiles
from curewatch.physics.heat_balance import STILL_AIR
from curewatch.units import HOUR

KWH = 3.6e6  # J
FACES = 2  # of a thin work: a blanket that nothing covers heats both at most


def priced(question: Question, outlook: Outlook, one: Found, held: float, means: Means) -> Lever:
    """A found amount as a lever: when to switch on and off, what it takes, how much trouble it is.

    ``held`` [s].
    """
    parameter, until, trial = one.parameter, one.parameter.start + held, one.step.trial
    lead = (parameter.start - parameter.switch_on) / HOUR
    lever = Lever(
        parameter.kind,
        parameter.start,
        0.5 * lead,
        trial.probability,
        target=one.value,
        switch_on=parameter.switch_on,
        switch_off=until,
    )
    if parameter.kind == "warm":
        return _with_heat(lever, question, outlook, means)
    if parameter.kind == "dry":
        water = float(median(warming.dried(outlook, means.shed, one.value, parameter.switch_on, until).water))
        return replace(
            lever,
            water=water,
            warning=cautions.for_drying(question.resin.chemistry),
            effort=lever.effort + 2.0 + water,
        )
    return replace(
        lever,
        area_power=FACES * STILL_AIR * one.value,
        warning=cautions.for_heating(question.resin.chemistry, surface=True),
        effort=lever.effort + 1.0 + one.value / 8.0,
    )


def _with_heat(lever: Lever, question: Question, outlook: Outlook, means: Means) -> Lever:
    if lever.target is None or lever.switch_on is None or lever.switch_off is None:
        return lever
    taken = warming.warmed(
        outlook,
        means.shed,
        lever.target,
        lever.switch_on,
        lever.switch_off,
        substrate=question.substrate,
        ramp=max(HOUR, lever.start - lever.switch_on),
    )
    energy = float(median(taken.energy))
    return replace(
        lever,
        power=float(quantiles(taken.power.max(axis=1), (0.9,))[0]),
        energy=energy,
        warning=cautions.for_heating(question.resin.chemistry),
        effort=lever.effort + 1.5 + energy / KWH / 10.0,
    )
