"""The smallest amount of a knob that is a go: bracketed by a coarse scan, settled over all paths."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.advice.remedy import trials
from curewatch.advice.remedy.parameters import Knob
from curewatch.advice.remedy.trials import Trial, Variant
from curewatch.model.air.outlook import Outlook
from curewatch.units import HOUR, FloatArray

EVERY = 4  # the coarse scan asks every fourth path
HELD = 36 * HOUR  # a heater is held this long while its target is looked for
ROUNDS = 6  # of moving by one tolerance


class Found(NamedTuple):
    """The smallest amount of a knob that is a go."""

    knob: Knob
    value: float
    trial: Trial


def solve(question: Question, known: Surfaced, outlook: Outlook, turned: Sequence[Knob]) -> list[Found]:
    """The smallest amount of each kind of knob that is a go; kinds that never are, are left out.

    All knobs are scanned together, coarsely over a quarter of the paths. Of each kind the first one that
    comes to a go, that of the earliest start, is then scanned finely over all paths.
    """
    few_question, few = trials.thinned(question, outlook, EVERY)
    scanned = _scan(few_question, known, few, [(knob, knob.values) for knob in turned])
    bracketed: dict[tuple[str, int], tuple[Knob, int]] = {}
    for knob, judged in zip(turned, scanned, strict=True):
        place = first_go(judged)
        if place:  # not the first amount either: that is none at all
            bracketed.setdefault((knob.kind, knob.group), (knob, place))
    near = [(knob, _fine(knob, place)) for knob, place in bracketed.values()]
    nearly = _scan(few_question, known, few, near)
    guesses = [
        (knob, float(values[first_go(judged) or 0]))
        for (knob, values), judged in zip(near, nearly, strict=True)
    ]
    return _settled(question, known, outlook, guesses)


def _settled(
    question: Question, known: Surfaced, outlook: Outlook, guesses: Sequence[tuple[Knob, float]]
) -> list[Found]:
    """The smallest amounts over all paths, from guesses that are right to a few tolerances."""
    found: dict[Knob, Found] = {}
    moving = list(guesses)
    for _ in range(ROUNDS):
        asked = [(knob, _around(knob, guess)) for knob, guess in moving]
        moving = []
        for (knob, values), judged in zip(asked, _scan(question, known, outlook, asked), strict=True):
            first = first_go(judged)
            if first is None:
                moving.append((knob, float(values[-1]) + knob.step))
            elif first == 0:  # less of it may do; where less is nothing, it is no lever
                moving.append((knob, float(values[0]) - knob.step))
            else:
                found[knob] = Found(knob, round(float(values[first]), 6), judged[first])
        moving = [(knob, guess) for knob, guess in moving if knob.allows(guess)]
        if not moving:
            break
    return [found[knob] for knob, _ in guesses if knob in found]


def _around(knob: Knob, guess: float) -> FloatArray:
    """One tolerance less, the guess, and one more."""
    values = guess + knob.step * np.array([-1.0, 0.0, 1.0])
    return values[[knob.allows(value) for value in values.tolist()]]


def _scan(
    question: Question, known: Surfaced, outlook: Outlook, asked: Sequence[tuple[Knob, FloatArray]]
) -> list[list[Trial]]:
    """All values of all knobs in one stack."""
    variants = [
        Variant(knob.change(outlook, value, knob.start + HELD), knob.start)
        for knob, values in asked
        for value in values.tolist()
    ]
    judged = iter(trials.judge(question, known, variants))
    return [[next(judged) for _ in values] for _, values in asked]


def _fine(knob: Knob, place: int) -> FloatArray:
    """From the coarse value before to this one, a tolerance apart; the first of them is no go."""
    lower, upper = float(knob.values[place - 1]), float(knob.values[place])
    return np.linspace(lower, upper, round(abs(upper - lower) / knob.tolerance) + 1)


def first_go(judged: Sequence[Trial]) -> int | None:
    return next((at for at, trial in enumerate(judged) if trial.go), None)
