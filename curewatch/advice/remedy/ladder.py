"""The first rung of a ladder of changes that is a go: rungs rise in effort, and few of them are tried.

*Theory of operation.* More warmth, or warmth for longer, never sets a layer later. So where a rung has been
followed, a path that meets its limit before it sets there meets it on every rung below: those that are no go
by this alone are passed over. Drier air changes no temperature, nor does a heater that goes off after all
has set: such a rung sets when the one above it does, and is judged without stepping. What is told of the rung
that is found is what the assessment says of it.

Rungs are followed in turns: one, then the next two that want it, then four. To follow several together takes
little longer than one, and the lowest that is a go is the same.
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
    dews = Dews()
    climbs = [_Climb(question, situation, ladder, dews) for ladder in ladders]
    while asked := [(one, place, sought) for one in climbs for place, sought in one.wanted()]:
        found = followed(question, situation, [sought for *_, sought in asked])
        for (one, place, _), each in zip(asked, found, strict=True):
            one.take(place, each)
    return [one.found for one in climbs]


class _Climb:
    """One ladder on its way up."""

    def __init__(self, question: Question, situation: Surfaced, ladder: Ladder, dews: Dews) -> None:
        self._question, self._situation, self._ladder = question, situation, ladder
        self._known = {place: step._replace(place=place) for place, step in ladder.known.items()}
        self._passed: dict[int, Step] = {}  # judged without a walk
        self._made: dict[int, Variant] = {}  # changes that were made, of rungs that are to be followed
        self._place = 0
        self._at_once = 1
        self._dews = dews
        self.found: Step | None = None

    def wanted(self) -> list[tuple[int, Sought]]:
        """The rungs whose paths must be followed next; none once the answer stands."""
        if not self._known:
            return [self._sought(self._ladder.first % self._ladder.rungs)]
        while self.found is None and self._place < self._ladder.rungs:
            step = self._judged(self._place)
            if step is None:
                return self._next()
            if step.trial.go:
                self.found = step
            self._place += 1
        return []

    def take(self, place: int, found: TriedVariant) -> None:
        """What was asked for has been followed."""
        trial = trial_of(self._question, self._situation, found.there, found.found)
        self._known[place] = Step(place, trial, found)

    def _next(self) -> list[tuple[int, Sought]]:
        """Where it stands, and rungs above that must be followed too; twice as many each time."""
        places = [self._place]
        for place in range(self._place + 1, self._ladder.rungs):
            if len(places) == self._at_once:
                break
            step = self._judged(place)
            if step is None:
                places.append(place)
            elif step.trial.go:
                break
        self._at_once *= 2
        return [self._sought(place) for place in places]

    def _judged(self, place: int) -> Step | None:
        """What is known of a rung without following it."""
        step = self._known.get(place) or self._passed.get(place) or self._without_a_walk(place)
        if step is not None and place not in self._known:
            self._passed[place] = step
        return step

    def _sought(self, place: int) -> tuple[int, Sought]:
        variant = self._made.pop(place, None) or self._ladder.rung(place)
        return place, Sought(self._weather(variant, AHEAD), variant.outlook)

    def _weather(self, variant: Variant, length: float) -> Weather:
        return weather(variant.outlook, variant.start, length=length, dews=self._dews, for_blush=False)

    def _without_a_walk(self, place: int) -> Step | None:
        """By the next rung above it that was followed: no go for certain, or set at the same moments."""
        above = min((each for each in self._known if each > place), default=None)
        if above is None:
            return None
        there, found = self._known[above].followed
        last = float(found.set.max())  # nan where some path does not set
        variant = self._ladder.rung(place)
        here = self._weather(variant, AHEAD if np.isnan(last) else last + 2 * STEP)
        if not (alike := _alike(here, there)):  # less warm: its own heat is less, too, and is not known
            found = found._replace(peak=np.full(found.peak.shape, np.nan))
        trial = trial_of(self._question, self._situation, here, found)
        if trial.go and not alike:
            self._made[place] = variant
            return None
        return Step(place, trial, TriedVariant(here, found))


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
