"""The first rung of a ladder of changes that is a go: rungs rise in effort, and few of them are tried.

*Theory of operation.* More warmth, or warmth for longer, never sets a layer later. So where a rung has been
followed, a path that meets its limit before it sets there meets it on every rung below: those that are no go
by this alone are passed over. Drier air changes no temperature, nor does a heater that goes off after all
has set: such a rung sets when the one above it does, and is judged without stepping. What is told of the rung
that is found is what the assessment says of it.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from curewatch.advice.judge.course import AHEAD
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.advice.judge.weather import STEP, Dews, Weather, weather
from curewatch.advice.remedy.trials import Sought, Trial, TriedVariant, Variant, followed, trial_of


class Step(NamedTuple):
    """A rung that was judged."""

    place: int
    trial: Trial
    followed: TriedVariant


class Ladder(NamedTuple):
    """Variants of one start that rise in effort."""

    rung: Callable[[int], Variant]
    rungs: int
    known: Mapping[int, Step]  # of rungs that have been judged already
    first: int = -1  # to be followed first where none is known


def climb(question: Question, situation: Surfaced, ladders: Sequence[Ladder]) -> list[Step | None]:
    """The lowest rung of each ladder that is a go; none where none is. What all ladders ask for is stacked.

    Raises
    ------
    OutOfValidity
        A start outside its outlook, or a path outside the cure law.
    """
    climbs = [_Climb(question, situation, ladder) for ladder in ladders]
    while asked := [(one, sought) for one in climbs if (sought := one.wanted()) is not None]:
        for (one, _), found in zip(
            asked, followed(question, situation, [sought for _, sought in asked]), strict=True
        ):
            one.take(found)
    return [one.found for one in climbs]


class _Climb:
    """One ladder on its way up."""

    def __init__(self, question: Question, situation: Surfaced, ladder: Ladder) -> None:
        self._question, self._situation, self._ladder = question, situation, ladder
        self._known = {place: step._replace(place=place) for place, step in ladder.known.items()}
        self._place = 0
        self._asked = 0
        self._dews = Dews()
        self.found: Step | None = None

    def wanted(self) -> Sought | None:
        """The paths that must be followed next; none once the answer stands."""
        if not self._known:
            return self._ask(self._ladder.first % self._ladder.rungs)
        while self.found is None and self._place < self._ladder.rungs:
            place = self._place
            step = self._known.get(place) or self._without_a_walk(place)
            if step is None:
                return self._ask(place)
            if step.trial.go:
                self.found = step
            self._place += 1
        return None

    def take(self, found: TriedVariant) -> None:
        """What was asked for has been followed."""
        trial = trial_of(self._question, self._situation, found, found.set)
        self._known[self._asked] = Step(self._asked, trial, found)

    def _ask(self, place: int) -> Sought:
        self._asked, variant = place, self._ladder.rung(place)
        return Sought(self._weather(variant, AHEAD), variant.outlook)

    def _weather(self, variant: Variant, length: float) -> Weather:
        return weather(variant.outlook, variant.start, length=length, dews=self._dews)

    def _without_a_walk(self, place: int) -> Step | None:
        """By the next rung above it that was followed: no go for certain, or set at the same moments."""
        above = min((each for each in self._known if each > place), default=None)
        if above is None:
            return None
        there, set_ = self._known[above].followed
        last = float(set_.max())  # nan where some path does not set
        here = self._weather(self._ladder.rung(place), AHEAD if np.isnan(last) else last + 2 * STEP)
        trial = trial_of(self._question, self._situation, TriedVariant(here, set_), set_)
        if trial.go and not _alike(here, there):
            return None
        return Step(place, trial, TriedVariant(here, set_))


def _alike(one: Weather, other: Weather) -> bool:
    """Whether layers on these paths are as warm, as far as the first of them reaches."""
    count = one.time.size
    return all(
        np.array_equal(mine, its[:, :count])
        for mine, its in (
            (one.surface_temperature, other.surface_temperature),
            (one.air_temperature[:, :1], other.air_temperature[:, :1]),
        )
    )
