"""Many changes tried at once: each a changed outlook, start or resin, judged by the real assessment.

The paths of all variants of one resin are stacked and walk through one flow map together, so a dozen
trials cost little more than one. Each variant keeps the lots its paths would have alone: a trial says
what ``assess`` would say of it.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from curewatch.advice.judge import verdict
from curewatch.advice.judge.answer import Status
from curewatch.advice.judge.course import AHEAD, Course, course
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.advice.judge.weather import Weather, weather
from curewatch.model.air.outlook import Outlook
from curewatch.model.film.lots import STRATA, Lot, lots, shared_out
from curewatch.units import FloatArray


class Variant(NamedTuple):
    """One change: the coming hours as they would be, and the start."""

    outlook: Outlook
    start: float  # UTC [s]


class Trial(NamedTuple):
    """What the assessment says of a variant."""

    go: bool
    probability: float
    set_late: float  # s from the start by which nine of ten paths are set; nan if they are not


def judge(question: Question, situation: Surfaced, variants: Sequence[Variant]) -> list[Trial]:
    """Judge each variant; all have as many paths.

    Raises
    ------
    OutOfValidity
        A start outside its outlook, or a path outside the cure law.
    """
    if not variants:
        return []
    dews: dict[tuple[int, float], FloatArray] = {}
    there = [weather(one.outlook, one.start, length=AHEAD, dews=dews) for one in variants]
    shortest = min(one.time.size for one in there)
    members = there[0].members
    stacked = Weather(
        there[0].time[:shortest],
        *(
            np.concatenate([paths[:, :shortest] for paths in columns])
            for columns in zip(*(one[1:] for one in there), strict=True)
        ),
    )
    seen = course(
        question.resin,
        stacked,
        np.zeros(1, dtype=np.int64),
        chosen=_lots(question, members) * len(variants),
        peroxide_percent=question.peroxide_percent,
        carbon_dioxide=situation.carbon_dioxide,
        only_set=True,
    )
    return [
        _trial(question, situation, _part(seen, slice(at * members, (at + 1) * members), one.start))
        for at, one in enumerate(variants)
    ]


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
    )
    return replace(question, lots=tuple(own[place] for place in picked.tolist())), fewer


def _lots(question: Question, members: int) -> list[Lot]:
    """The lots that the paths of one outlook have alone."""
    if question.lots is not None:
        return list(question.lots) * (members if len(question.lots) == 1 else 1)
    known = lots(question.resin, min(STRATA, members))
    return [known[place] for place in shared_out(members, len(known))]


def _part(seen: Course, paths: slice, start: float) -> Course:
    """The course of one variant, at its own start."""
    columns: list[Any] = [column[:, paths] for column in seen[1:]]
    return Course(np.array([start]), *columns)


def _trial(question: Question, situation: Surfaced, seen: Course) -> Trial:
    checks = verdict.judge(situation, question.resin, question.limits, seen)
    go = all(check.status in {Status.HOLDS, Status.CARE} for check in checks)
    together = next(check for check in checks if check.name == "together")
    ordered = np.sort(np.nan_to_num(seen.set[0], nan=np.inf))
    late = float(ordered[int(0.9 * ordered.size)])
    return Trial(go, together.value or 0.0, late if np.isfinite(late) else float("nan"))
