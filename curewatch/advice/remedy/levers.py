"""What would make it a go: the smallest single changes, each found by trying them on the real assessment.

*Theory of operation.* Each lever is a knob: a way to change the coming hours or the start by an amount
(``knobs``). ``search`` finds its smallest amount that is a go, to the knob's tolerance: at the amount told
the assessment is a go, and one tolerance less it is not. ``cost`` says what it takes. Where no single
lever does it, two are tried together (``pairs``).
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from curewatch.advice.judge import cautions, checks
from curewatch.advice.judge.answer import Advice, Lever, Status, Verdict
from curewatch.advice.judge.course import course
from curewatch.advice.judge.question import Question, ask
from curewatch.advice.judge.situation import Situation, Surfaced
from curewatch.advice.judge.timeline import PotBatch, pot_moments
from curewatch.advice.judge.verdict import NOW
from curewatch.advice.judge.weather import weather
from curewatch.advice.remedy import trials
from curewatch.advice.remedy.cost import priced
from curewatch.advice.remedy.pairs import two_together
from curewatch.advice.remedy.parameters import Knob, Means, knobs
from curewatch.advice.remedy.search import EVERY, HELD, ROUNDS, Found, first_go, solve
from curewatch.advice.remedy.trials import Trial, Variant
from curewatch.model.air.outlook import Outlook
from curewatch.model.mass.pot import Shape
from curewatch.units import DAY, HOUR, MINUTE, FloatArray

QUARTER = 15 * MINUTE
LOOK = DAY  # how far other starts are looked for [s]
HOURS = (4.0, 8.0, 12.0, 16.0, 20.0, 24.0, 30.0, 36.0)  # of heating that are tried
PEEL_PLY = "lay peel ply on the wet face; tear it off and abrade before the next layer"
FIRM = 0.9  # share of paths below which a go is called weak (ours)


def advise(
    question: Question,
    situation: Situation,
    outlook: Outlook | None,
    means: Callable[[], Means],
    start: float | None = None,
) -> Advice:
    """The advice for one start, and what would make it a go if it is none.

    ``means`` is asked only then: to identify a shed takes longer than to answer.
    """
    said = ask(question, situation, outlook, start)
    if outlook is None or said.verdict is Verdict.UNKNOWN or not isinstance(situation, Surfaced):
        return said
    found: list[Lever] = []
    if any(check.name == "blush" and check.status is Status.CARE for check in said.checks):
        said = replace(said, needed_besides=(PEEL_PLY,))
    if any(check.name == "batch" and check.status is Status.FAILS for check in said.checks):
        found += _smaller(question, said, _air_at(outlook, said.start))
    failing = {check.name for check in said.checks if check.status is Status.FAILS} - {"batch"}
    weak = said.verdict is Verdict.GO and (said.probability or 0.0) < FIRM
    if failing or weak:
        asked = question if failing else _firmer(question)
        at_hand = means()
        every = all_levers(asked, situation, outlook, said.start, at_hand)
        changes = [lever for lever in every if _strong_enough(lever, at_hand)]
        found += changes
        burner = (cautions.for_burner(at_hand.burner),) if at_hand.burner else ()
        remarks = (*burner, *_remarks(weak=weak, any_=bool(changes)), *_too_weak(every, at_hand))
        said = replace(said, remedies=(*said.remedies, *remarks))
    return replace(said, levers=tuple(sorted(found, key=lambda lever: lever.effort)))


def _firmer(question: Question) -> Question:
    """The same question, asked for a go that holds on more of the paths."""
    line = replace(question.limits.probability, value=FIRM)
    return replace(question, limits=replace(question.limits, probability=line))


def _remarks(*, weak: bool, any_: bool) -> tuple[str, ...]:
    """What is said before the levers, or in their place."""
    if weak:
        return (f"a weak go; with one of these it holds on {100 * FIRM:.0f} % of paths:",) if any_ else ()
    none = "no single change and no two together do it within a day: wait, and ask `curewatch windows`"
    return () if any_ else (none,)


def _air_at(outlook: Outlook, start: float) -> float:
    """The middle of the paths' air at a moment. [K]"""
    return float(np.interp(start, outlook.time, np.median(outlook.air_temperature, axis=0)))


def _smaller(question: Question, said: Advice, air: float) -> list[Lever]:
    """The largest batch that lasts until it is spread, and a tray if the whole batch lasts in one."""
    mass = question.batch_mass
    if mass is None:
        return []
    found = []
    smaller = _largest_batch(question, mass, air)
    if smaller is not None:
        found.append(Lever("batch", said.start, 0.5, target=smaller))
    if _lasts(question, mass, air, "tray"):
        found.append(Lever("tray", said.start, 0.4, target=mass))
    return found


def _largest_batch(question: Question, mass: float, air: float) -> float | None:
    """Bisection on the pot itself, to five grams."""
    low, high = 0.02, mass
    if not _lasts(question, low, air, "cup"):
        return None
    while high - low > 0.005:
        middle = (low + high) / 2
        low, high = (middle, high) if _lasts(question, middle, air, "cup") else (low, middle)
    return low


def _lasts(question: Question, mass: float, air: float, shape: Shape) -> bool:
    """Whether a batch of this mass is spread before a fast lot of it would have to be used up."""
    moments = pot_moments(PotBatch(question.resin, mass, question.peroxide_percent, shape), 0.0, air)
    used = moments[0].early
    return used is None or used >= mass / question.use_rate


def levers(
    question: Question, situation: Surfaced, outlook: Outlook, start: float, means: Means
) -> tuple[Lever, ...]:
    """The levers that make a start a go, the least effort first.

    Parameters
    ----------
    situation : Surfaced
        Without trouble: no lever mends a sensor.
    outlook : Outlook
        From now on, as it would be with nothing done.
    start : float
        The start that is not a go. [s]

    Returns
    -------
    tuple of Lever
        Empty where none will do within a day.
    """
    every = all_levers(question, situation, outlook, start, means)
    return tuple(lever for lever in every if _strong_enough(lever, means))


def all_levers(
    question: Question, situation: Surfaced, outlook: Outlook, start: float, means: Means
) -> tuple[Lever, ...]:
    """The same, with those that the heater at hand is too weak for."""
    single = [
        *_other_starts(question, situation, outlook, start),
        *_other_resins(situation, outlook, start, means),
        *_solved(question, situation, outlook, knobs(question, situation, outlook, start, means), means),
    ]
    doing = [lever for lever in single if lever.kind != "start" and _strong_enough(lever, means)]
    if not doing:
        single += two_together(question, situation, outlook, start, means)
    return tuple(sorted(single, key=lambda lever: lever.effort))


def _strong_enough(lever: Lever, means: Means) -> bool:
    """Whether the heater gives what this takes; a heater of which nothing is known does."""
    return means.power is None or lever.power is None or lever.power <= means.power


def _too_weak(every: Sequence[Lever], means: Means) -> tuple[str, ...]:
    """What the heater would have to give, where it is that which forbids to warm the shed."""
    asked = [lever.power for lever in every if lever.power and not _strong_enough(lever, means)]
    if not asked or means.power is None:
        return ()
    needed, given = min(asked) / 1000.0, means.power / 1000.0
    return (f"warming the shed enough takes {needed:.1f} kW; the heater gives {given:.1f} kW",)


# ---- other starts, other resins


def _other_starts(question: Question, known: Surfaced, outlook: Outlook, start: float) -> list[Lever]:
    """The nearest start before and after that is a go, a quarter of an hour apart."""
    earliest = QUARTER * np.ceil((known.at + NOW) / QUARTER)
    times = earliest + QUARTER * np.arange(int(LOOK / QUARTER) + 1)
    few_question, few = trials.thinned(question, outlook, EVERY)
    there = weather(few, float(times[0]))
    seen = course(
        question.resin,
        there,
        np.arange(times.size, dtype=np.int64),
        chosen=few_question.lots,
        peroxide_percent=question.peroxide_percent,
        carbon_dioxide=known.carbon_dioxide,
        only_set=True,
    )
    drawn = checks.lines(seen, question.limits, checks.sensor_errors(known))
    go = checks.holds(seen, drawn).mean(axis=1) >= question.limits.probability.value
    before, after = np.flatnonzero(go & (times < start)), np.flatnonzero(go & (times > start))
    nearest = [(int(at), -1) for at in before[-1:]] + [(int(at), 1) for at in after[:1]]
    found = []
    for near in nearest:
        settled = _settled_start(question, known, outlook, times, near)
        if settled is not None:
            when, trial = settled
            found.append(Lever("start", when, abs(when - start) / HOUR, trial.probability))
    return [lever for lever in found if lever.start != start]


def _settled_start(
    question: Question, known: Surfaced, outlook: Outlook, times: FloatArray, near: tuple[int, int]
) -> tuple[float, Trial] | None:
    """The first start that is a go over all paths, looking away from the asked one; from a near guess."""
    guess, away = near
    for _ in range(ROUNDS):
        tried = [place for place in (guess - away, guess, guess + away) if 0 <= place < times.size]
        judged = trials.judge(question, known, [Variant(outlook, float(times[place])) for place in tried])
        first = first_go(judged)
        if first is None:
            guess = tried[-1] + away
        elif first == 0 and len(tried) == 3:
            guess = tried[0] - away
        else:
            return float(times[tried[first]]), judged[first]
        if not 0 <= guess < times.size:
            return None
    return None


def _other_resins(known: Surfaced, outlook: Outlook, start: float, means: Means) -> list[Lever]:
    """Every other resin on the shelf that is a go as things are."""
    found = []
    for other in means.others:
        (trial,) = trials.judge(other, known, [Variant(outlook, start)])
        if trial.go:
            found.append(Lever("resin", start, 2.0, trial.probability, resin=other.resin.name))
    return found


def _solved(
    question: Question, known: Surfaced, outlook: Outlook, turned: Sequence[Knob], means: Means
) -> list[Lever]:
    """The levers of all kinds that can be turned far enough, with how long and what it takes."""
    found = solve(question, known, outlook, turned)
    return _held_long_enough(question, known, outlook, found, means)


def _held_long_enough(
    question: Question, known: Surfaced, outlook: Outlook, found: Sequence[Found], means: Means
) -> list[Lever]:
    """How long each must be held: the shortest of :data:`HOURS` after the start that is still a go."""
    few_question, few = trials.thinned(question, outlook, EVERY)
    scanned = _hold(few_question, known, few, [(one, HOURS) for one in found])
    whole = [
        (one, HOURS[max(0, first_go(trials_) or 0) :][:2])
        for one, trials_ in zip(found, scanned, strict=True)
    ]
    judged = _hold(question, known, outlook, whole)
    made = []
    for (one, hours), trials_ in zip(whole, judged, strict=True):
        place = first_go(trials_)
        if place is None:  # held throughout it is a go: that is how it was found
            made.append(priced(question, outlook, one, HELD, means))
        else:
            made.append(
                priced(question, outlook, one._replace(trial=trials_[place]), hours[place] * HOUR, means)
            )
    return made


def _hold(
    question: Question, known: Surfaced, outlook: Outlook, asked: Sequence[tuple[Found, Sequence[float]]]
) -> list[list[Trial]]:
    variants = [
        Variant(
            one.knob.change(outlook, one.value, one.knob.start + hours * HOUR),
            one.knob.start,
        )
        for one, tried in asked
        for hours in tried
    ]
    judged = iter(trials.judge(question, known, variants))
    return [[next(judged) for _ in tried] for _, tried in asked]
