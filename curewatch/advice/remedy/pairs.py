"""Two changes together, where no single one makes it a go: drier air or another resin, and warmth."""

from collections.abc import Sequence

import numpy as np
from msgspec.structs import replace

from curewatch.advice.judge import cautions
from curewatch.advice.judge.answer import Lever
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.advice.remedy.cost import priced
from curewatch.advice.remedy.parameters import LEADS, Change, Means, Parameter, parameters
from curewatch.advice.remedy.search import HELD, Found, solve
from curewatch.model.air import warming
from curewatch.model.air.outlook import Outlook


def two_together(
    question: Question, known: Surfaced, outlook: Outlook, start: float, means: Means
) -> list[Lever]:
    """Where no single change does it: drier air and warmth, or another resin and warmth. ``start`` [s]."""
    return [
        *_warm_and_dry(question, known, outlook, start, means),
        *_warm_other_resins(known, outlook, start, means),
    ]


def _warm_and_dry(
    question: Question, known: Surfaced, outlook: Outlook, start: float, means: Means
) -> list[Lever]:
    """Warmth for each of a few drynesses; of the easiest pair, then as little drying as does it.

    Less warmth was no go with the drier air, so it is none with the damper: both amounts are the smallest.
    """
    works = max(start, known.at + LEADS[1])
    every = parameters(question, known, outlook, start, means)
    warm = next(
        (parameter for parameter in every if parameter.kind == "warm" and parameter.start == works), None
    )
    if warm is None:
        return []
    turned = [
        (humidity, replace(warm, change=_then_dried(warm.change, means, known.at, humidity), group=place))
        for place, humidity in enumerate((0.70, 0.60, 0.50, 0.40))
    ]
    pairs = _paired(turned, solve(question, known, outlook, [parameter for _, parameter in turned]))
    if not pairs:
        return []
    warmed = [(humidity, one, priced(question, outlook, one, HELD, means)) for (humidity, _), one in pairs]
    humidity, one, lever = min(warmed, key=lambda pair: pair[2].effort)
    least = _least_drying(question, known, outlook, one, warmer=warm.change, humidity=humidity, means=means)
    warning = cautions.for_drying(question.resin.chemistry)
    dry = Lever(
        "dry", works, 2.0, target=humidity, switch_on=known.at, switch_off=lever.switch_off, warning=warning
    )
    if least is not None:
        dry = replace(dry, target=least.value)
        lever = replace(lever, probability=least.step.trial.probability)
    return [replace(lever, besides=dry, effort=lever.effort + dry.effort)]


def _least_drying(
    question: Question,
    known: Surfaced,
    outlook: Outlook,
    warm: Found,
    *,
    warmer: Change,
    humidity: float,
    means: Means,
) -> Found | None:
    """The highest humidity that is still a go beside a warmth that was found with ``humidity``."""

    def change(paths: Outlook, target: float, until: float) -> Outlook:
        return _then_dried(warmer, means, known.at, target)(paths, warm.value, until)

    values = np.arange(100.0, 100.0 * humidity - 5.1, -5.0) / 100.0
    found = solve(
        question,
        known,
        outlook,
        [replace(warm.parameter, kind="dry", values=values, tolerance=0.01, change=change)],
    )
    return found[0] if found else None


def _then_dried(change: Change, means: Means, switch_on: float, humidity: float) -> Change:
    def both(outlook: Outlook, target: float, until: float) -> Outlook:
        return warming.dried(change(outlook, target, until), means.shed, humidity, switch_on, until).outlook

    return both


def _paired(
    turned: Sequence[tuple[float, Parameter]], found: Sequence[Found]
) -> list[tuple[tuple[float, Parameter], Found]]:
    """Each found amount beside the dryness its parameter was made with."""
    return [(pair, one) for one in found for pair in turned if pair[1] is one.parameter]


def _warm_other_resins(known: Surfaced, outlook: Outlook, start: float, means: Means) -> list[Lever]:
    found = []
    for other in means.others:
        warm = [
            parameter
            for parameter in parameters(other, known, outlook, start, means)
            if parameter.kind == "warm"
        ]
        for one in solve(other, known, outlook, warm)[:1]:
            lever = priced(other, outlook, one, HELD, means)
            resin = Lever("resin", lever.start, 2.0, resin=other.resin.name)
            found.append(replace(lever, besides=resin, effort=lever.effort + resin.effort))
    return found
