"""Many changes tried at once: each a changed outlook, start or resin, judged by the real assessment.

The paths of some variants of one resin are stacked and stepped through one flow map together, in slabs: more
at once are no faster and cost memory. Each variant keeps the lots its paths would have alone: a trial says
what ``assess`` would say of it.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby, islice
from typing import NamedTuple

import numpy as np
from msgspec.structs import replace

from curewatch.advice.judge import checks, verdict
from curewatch.advice.judge.answer import Status
from curewatch.advice.judge.course import AHEAD, Setting, setting, until_set
from curewatch.advice.judge.ground import known_checks
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.advice.judge.weather import STEP, Dews, IntArray, Weather, from_below, weather
from curewatch.model.air.outlook import Outlook, ReadingErrors
from curewatch.model.film.lots import STRATA, Lot, lots, shared_out
from curewatch.model.mass.buildup import Buildup

SLAB = 512  # paths at once: two variants of a whole outlook; more are no faster


class Variant(NamedTuple):
    """One change: the coming hours as they would be, and the start."""

    outlook: Outlook
    start: float  # UTC [s]


class Trial(NamedTuple):
    """What the assessment says of a variant."""

    go: bool
    probability: float


class Sought(NamedTuple):
    """A variant whose layers are to be followed."""

    there: Weather  # from its start on
    outlook: Outlook


class TriedVariant(NamedTuple):
    """A variant whose layers have been followed."""

    there: Weather  # from its start on
    found: Setting  # (1, members)


def judge(question: Question, situation: Surfaced, variants: Iterable[Variant]) -> list[Trial]:
    """Judge each variant; all have as many paths. They are taken one slab after the other.

    Raises
    ------
    OutOfValidity
        A start outside its outlook, or a path outside the cure law.
    """
    dews = Dews()
    there = (
        Sought(weather(one.outlook, one.start, length=AHEAD, dews=dews, for_blush=False), one.outlook)
        for one in variants
    )
    return [
        trial_of(question, situation, one.there, one.found) for one in followed(question, situation, there)
    ]


def followed(question: Question, situation: Surfaced, sought: Iterable[Sought]) -> Iterator[TriedVariant]:
    """Follow the layers of each variant until they are set; some variants in one stack.

    A layer below has another age at another start: those of different starts are not stepped together then.
    """
    for _, alike in groupby(sought, key=lambda one: float(one.there.time[0]) if question.below else None):
        coming = iter(alike)
        for first in coming:
            beside = max(0, SLAB // first.there.members - 1)
            yield from _together(question, situation, [first, *islice(coming, beside)])


def _together(question: Question, situation: Surfaced, sought: Sequence[Sought]) -> Iterator[TriedVariant]:
    there = [one.there for one in sought]
    shortest = min(one.time.size for one in there)
    buildup = question.buildup_at(float(there[0].time[0]))
    reached = [from_below(one, situation.past, buildup, outlook) for one, outlook in sought]
    earlier = reached[0][1]
    stacked = reached[0][0]._replace(
        time=reached[0][0].time[: shortest + earlier],
        air_temperature=np.concatenate([one.air_temperature[:, : shortest + earlier] for one, _ in reached]),
        surface_temperature=np.concatenate(
            [one.surface_temperature[:, : shortest + earlier] for one, _ in reached]
        ),
    )  # a layer sets by its warmth alone
    chosen = _lots(question, there[0].members) * len(there)
    found = _set_of(replace(question, lots=tuple(chosen)), stacked, np.full(1, earlier, np.int64), buildup)
    parts = zip(*(np.split(each, len(there), axis=1) for each in found), strict=True)
    for one, (set_, peak) in zip(there, parts, strict=True):
        yield TriedVariant(one, Setting(set_, peak))


def set_of(question: Question, situation: Surfaced, sought: Sought, first: IntArray) -> Setting:
    """When the layers that are asked about are set, from these starts on, and their own heat."""
    buildup = question.buildup_at(float(sought.there.time[0]))
    there, earlier = from_below(sought.there, situation.past, buildup, sought.outlook)
    return _set_of(question, there, first + earlier, buildup)


def _set_of(question: Question, there: Weather, first: IntArray, buildup: Buildup) -> Setting:
    return setting(
        question.resin,
        there,
        first,
        chosen=_lots(question, there.members),
        peroxide_percent=question.peroxide_percent,
        buildup=buildup,
    )


def trial_of(question: Question, situation: Surfaced, there: Weather, found: Setting) -> Trial:
    """What the assessment says, if the layers set and heat themselves so. (1, members)"""
    seen = until_set(there, np.zeros(1, dtype=np.int64), found)
    lines = checks.lines(seen, question.limits)
    share = float(checks.holds(seen, lines).mean())
    if share < question.limits.probability.value:
        return Trial(False, share)
    judged = verdict.judge(situation, question.resin, question.limits, seen, question.ground)
    if question.ground is not None:
        judged = (*known_checks(question.resin, question.ground), *judged)
    return Trial(all(check.status in {Status.HOLDS, Status.CARE} for check in judged), share)


def thinned(question: Question, outlook: Outlook, every: int) -> tuple[Question, Outlook]:
    """The same question on every so manieth path, in the order of their margins, each with its lot.

    A few paths that stand for all: for a first, coarse search.
    """
    order = np.argsort(outlook.condensation_margin().mean(axis=1), kind="stable")
    picked = np.sort(order[every // 2 :: every])
    own = _lots(question, order.size)
    fewer = replace(
        outlook,
        air_temperature=outlook.air_temperature[picked],
        vapour_pressure=outlook.vapour_pressure[picked],
        surface_temperature=outlook.surface_temperature[picked],
        errors=None
        if outlook.errors is None
        else ReadingErrors(*(column[picked] for column in outlook.errors)),
    )
    return replace(question, lots=tuple(own[place] for place in picked.tolist())), fewer


def shortened(outlook: Outlook, until: float) -> Outlook:
    """The coming hours as far as a layer is followed, and a little more: the rest changes no trial.

    ``until`` [UTC s].
    """
    kept = int(np.searchsorted(outlook.time, until + 2 * STEP)) + 1
    if kept >= outlook.time.size:
        return outlook
    return replace(
        outlook,
        time=outlook.time[:kept],
        air_temperature=outlook.air_temperature[:, :kept].copy(),
        vapour_pressure=outlook.vapour_pressure[:, :kept].copy(),
        surface_temperature=outlook.surface_temperature[:, :kept].copy(),
        errors=None
        if outlook.errors is None
        else ReadingErrors(*(column[:, :kept] for column in outlook.errors)),
    )


def _lots(question: Question, members: int) -> list[Lot]:
    """The lots that the paths of one outlook have alone."""
    if question.lots is not None:
        return list(question.lots) * (members if len(question.lots) == 1 else 1)
    known = lots(question.resin, min(STRATA, members))
    return [known[place] for place in shared_out(members, len(known))]
