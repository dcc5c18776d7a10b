"""The smallest amount of a parameter that is a go: bracketed by a coarse scan, settled over all paths."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from curewatch.advice.judge.course import AHEAD
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.advice.remedy import trials
from curewatch.advice.remedy.ladder import Ladder, Step, climb
from curewatch.advice.remedy.parameters import Parameter
from curewatch.advice.remedy.trials import Variant
from curewatch.model.air.outlook import Outlook
from curewatch.units import HOUR, FloatArray

EVERY = 4  # the coarse scan asks every fourth path
HELD = 36 * HOUR  # a heater is held this long while its target is looked for
ROUNDS = 6  # of moving by one tolerance


class Found(NamedTuple):
    """The smallest amount of a parameter that is a go."""

    parameter: Parameter
    value: float
    step: Step


def solve(question: Question, known: Surfaced, outlook: Outlook, turned: Sequence[Parameter]) -> list[Found]:
    """The smallest amount of each kind of parameter that is a go; kinds that never are, are left out.

    All kinds are scanned together, coarsely over a quarter of the paths. Of each kind the first parameter
    that comes to a go, that of the earliest start, is then scanned finely, and settled over all paths.
    """
    few_question, few = trials.thinned(question, outlook, EVERY)
    until = max((one.start for one in turned), default=known.at) + AHEAD
    few, outlook = trials.shortened(few, until), trials.shortened(outlook, until)
    waiting: dict[tuple[str, int], list[Parameter]] = {}
    for parameter in turned:
        waiting.setdefault((parameter.kind, parameter.group), []).append(parameter)
    near: list[tuple[Parameter, FloatArray, Step]] = []
    while asked := [parameters.pop(0) for parameters in waiting.values() if parameters]:
        steps = climb(few_question, known, [_ladder(few, one, one.values) for one in asked])
        for parameter, step in zip(asked, steps, strict=True):
            if step is not None and step.place:  # not the first amount either: that is none at all
                near.append((parameter, _fine(parameter, step.place), step))
                waiting[parameter.kind, parameter.group].clear()
    near.sort(key=lambda each: turned.index(each[0]))
    ladders = [_ladder(few, one, values, {values.size - 1: step}) for one, values, step in near]
    nearly = climb(few_question, known, ladders)
    guesses = [
        (parameter, float(values[step.place if step else -1]))
        for (parameter, values, _), step in zip(near, nearly, strict=True)
    ]
    return _settled(question, known, outlook, guesses)


def _settled(
    question: Question, known: Surfaced, outlook: Outlook, guesses: Sequence[tuple[Parameter, float]]
) -> list[Found]:
    """The smallest amounts over all paths, from guesses that are right to a few tolerances."""
    found: dict[Parameter, Found] = {}
    moving = list(guesses)
    for _ in range(ROUNDS):
        asked = [(parameter, _around(parameter, guess), guess) for parameter, guess in moving]
        moving = []
        ladders = [
            _ladder(outlook, one, values, first=int(np.argmin(np.abs(values - guess))))
            for one, values, guess in asked
        ]
        for (parameter, values, _), step in zip(asked, climb(question, known, ladders), strict=True):
            if step is None:
                moving.append((parameter, float(values[-1]) + parameter.step))
            elif step.place == 0:  # less of it may do; where less is nothing, it is no lever
                moving.append((parameter, float(values[0]) - parameter.step))
            else:
                found[parameter] = Found(parameter, round(float(values[step.place]), 6), step)
        moving = [(parameter, guess) for parameter, guess in moving if parameter.allows(guess)]
        if not moving:
            break
    return [found[parameter] for parameter, _ in guesses if parameter in found]


def _around(parameter: Parameter, guess: float) -> FloatArray:
    """One tolerance less, the guess, and one more."""
    values = guess + parameter.step * np.array([-1.0, 0.0, 1.0])
    return values[[parameter.allows(value) for value in values.tolist()]]


def _ladder(
    outlook: Outlook,
    parameter: Parameter,
    values: FloatArray,
    known: Mapping[int, Step] | None = None,
    first: int = -1,
) -> Ladder:
    """The values of a parameter, held as long as it may take."""

    def rung(place: int) -> Variant:
        until = parameter.start + HELD
        return Variant(parameter.change(outlook, float(values[place]), until), parameter.start)

    return Ladder(rung, values.size, known or {}, first)


def _fine(parameter: Parameter, place: int) -> FloatArray:
    """From the coarse value before to this one, a tolerance apart; the first of them is no go."""
    lower, upper = float(parameter.values[place - 1]), float(parameter.values[place])
    return np.linspace(lower, upper, round(abs(upper - lower) / parameter.tolerance) + 1)
