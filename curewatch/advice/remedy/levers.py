"""What would make it a go: the smallest single changes, each found by trying them on the real assessment.

*Theory of operation.* Each lever is a parameter: a way to change the coming hours or the start by an amount
(``parameters``). ``search`` finds its smallest amount that is a go, to its tolerance: at the amount told
the assessment is a go, and one tolerance less it is not. ``cost`` says what it takes. Where no single
lever does it, two are tried together (``pairs``).
"""

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
from msgspec.structs import replace

from curewatch.advice.judge import cautions, checks
from curewatch.advice.judge.answer import Advice, Lever, Status, Verdict
from curewatch.advice.judge.course import AHEAD, Setting, until_set
from curewatch.advice.judge.question import Question, ask
from curewatch.advice.judge.situation import Situation, Surfaced
from curewatch.advice.judge.timeline import PotBatch, pot_moments
from curewatch.advice.judge.verdict import NOW
from curewatch.advice.judge.weather import STEP, IntArray, Weather, weather
from curewatch.advice.remedy import trials
from curewatch.advice.remedy.cost import priced
from curewatch.advice.remedy.ladder import Ladder, climb
from curewatch.advice.remedy.pairs import two_together
from curewatch.advice.remedy.parameters import Means, Parameter, parameters
from curewatch.advice.remedy.search import EVERY, HELD, ROUNDS, Found, solve
from curewatch.advice.remedy.trials import Sought, Trial, Variant
from curewatch.model.air.outlook import Outlook
from curewatch.model.mass.pot import Shape
from curewatch.order import median
from curewatch.phrases import Said, phrase
from curewatch.units import DAY, HOUR, MINUTE, FloatArray

QUARTER = 15 * MINUTE
LOOK = DAY  # how far other starts are looked for [s]
HOURS = (4.0, 8.0, 12.0, 16.0, 20.0, 24.0, 30.0, HELD / HOUR)  # of heating that are tried
PEEL_PLY = "lay peel ply on the wet face, and abrade before the next layer"
FEWER = "lay fewer plies at once, since so many boil the water below"
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

    ``start`` [s]; now if none is given.
    """
    said = ask(question, situation, outlook, start)
    unknown = any(check.status is Status.UNKNOWN for check in said.checks)
    if outlook is None or unknown or not isinstance(situation, Surfaced):
        return said
    found: list[Lever] = []
    said = replace(said, needed_besides=_besides(said))
    if any(check.name == "batch" and check.status is Status.FAILS for check in said.checks):
        found += _smaller(question, said, _air_at(outlook, said.start))
    failing = {check.name for check in said.checks if check.status is Status.FAILS} - {"batch"}
    if checks.OWN_HEAT in failing:
        found += _thinner(question, situation, outlook, said.start)
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


def _besides(said: Advice) -> tuple[Said, ...]:
    """What is asked for with care, whatever turns the answer."""
    care = [check for check in said.checks if check.status is Status.CARE]
    care.sort(key=lambda check: check.name != "blush")  # peel ply first: a screen may have room for one
    failing = {check.name for check in said.checks if check.status is Status.FAILS}
    boils = (FEWER,) if checks.OWN_HEAT in failing and failing - {checks.OWN_HEAT, "together"} else ()
    return (*boils, *(PEEL_PLY if check.name == "blush" else check.reason for check in care))


def _firmer(question: Question) -> Question:
    """The same question, asked for a go that holds on more of the paths."""
    line = replace(question.limits.probability, value=FIRM)
    return replace(question, limits=replace(question.limits, probability=line))


def _remarks(*, weak: bool, any_: bool) -> tuple[Said, ...]:
    """What is said before the levers, or in their place."""
    if weak:
        return (
            (phrase("A weak go; with one of these the chance is {firm:in_ten}:", firm=FIRM),) if any_ else ()
        )
    none = "No change turns it within a day. Wait, and ask `curewatch windows`"
    return () if any_ else (none,)


def _air_at(outlook: Outlook, start: float) -> float:
    """The middle of the paths' air at a moment. [K]"""
    return float(np.interp(start, outlook.time, median(outlook.air_temperature, axis=0)))


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


def _thinner(question: Question, known: Surfaced, outlook: Outlook, start: float) -> list[Lever]:
    """The most plies that need no care for their own heat, if all else is a go with them. ``start`` [s]"""
    sought = Sought(weather(outlook, start, length=AHEAD, for_blush=False), outlook)

    def tried(plies: int) -> tuple[bool, Trial]:
        asked = replace(question, thickness=plies * question.ply)
        (one,) = trials.followed(asked, known, [sought])
        seen = until_set(one.there, np.zeros(1, dtype=np.int64), one.found)
        cool = checks.own_heat(seen, asked.limits) is None
        return cool, trials.trial_of(asked, known, one.there, one.found)

    low, high = 0, int(np.ceil(question.thickness / question.ply - 1e-9))
    best: Trial | None = None
    while high - low > 1:
        middle = (low + high) // 2
        cool, trial = tried(middle)
        low, high, best = (middle, high, trial) if cool else (low, middle, best)
    if best is None or not best.go:
        return []
    return [Lever("thinner", start, 0.3, best.probability, target=low)]


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
    """The same, with those that the heater at hand is too weak for. ``start`` [s]."""
    single = [
        *_other_starts(question, situation, outlook, start),
        *_other_resins(situation, outlook, start, means),
        *_solved(question, situation, outlook, parameters(question, situation, outlook, start, means), means),
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
    return (f"Warming the shed enough takes {needed:.1f} kW; the heater gives {given:.1f} kW",)


# ---- other starts, other resins


def _other_starts(question: Question, known: Surfaced, outlook: Outlook, start: float) -> list[Lever]:
    """The nearest start before and after that is a go, a quarter of an hour apart."""
    earliest = QUARTER * np.ceil((known.at + NOW) / QUARTER)
    times = earliest + QUARTER * np.arange(int(LOOK / QUARTER) + 1)
    few_question, few = trials.thinned(question, outlook, EVERY)
    there = weather(few, float(times[0]))
    every = np.arange(times.size, dtype=np.int64)
    go = _go(question, there, every, _at_once(every.size, there.members))
    first = every[go]  # the others fail as they are laid
    if first.size:
        go[first] = _go(question, there, first, trials.set_of(few_question, known, Sought(there, few), first))
    before, after = np.flatnonzero(go & (times < start)), np.flatnonzero(go & (times > start))
    nearest = [(int(at), -1) for at in before[-1:]] + [(int(at), 1) for at in after[:1]]
    found = []
    for near in nearest:
        settled = _settled_start(question, known, outlook, times, near)
        if settled is not None:
            when, trial = settled
            found.append(Lever("start", when, abs(when - start) / HOUR, trial.probability))
    return [lever for lever in found if lever.start != start]


def _at_once(starts: int, members: int) -> Setting:
    """Layers that are set as they are laid, whose own heat is not known."""
    return Setting(np.zeros((starts, members)), np.full((starts, members), np.nan))


def _go(question: Question, there: Weather, first: IntArray, found: Setting) -> checks.BoolArray:
    """Which starts (starts,) are a go if layers set and heat themselves so. (starts, members)

    What a layer meets until it is set only grows worse: one that sets sooner is never less of a go.
    """
    seen = until_set(there, first, found)
    held = checks.holds(seen, checks.lines(seen, question.limits))
    return np.asarray(held.mean(axis=1) >= question.limits.probability.value)


def _settled_start(
    question: Question, known: Surfaced, outlook: Outlook, times: FloatArray, near: tuple[int, int]
) -> tuple[float, Trial] | None:
    """The first start that is a go over all paths, looking away from the asked one; from a near guess."""
    guess, away = near
    for _ in range(ROUNDS):
        tried = [place for place in (guess - away, guess, guess + away) if 0 <= place < times.size]
        judged = trials.judge(question, known, [Variant(outlook, float(times[place])) for place in tried])
        first = next((at for at, trial in enumerate(judged) if trial.go), None)
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
    found, laid = [], weather(outlook, start, length=STEP)
    for other in means.others:
        if not _go(other, laid, np.zeros(1, np.int64), _at_once(1, laid.members))[0]:
            continue
        (trial,) = trials.judge(other, known, [Variant(outlook, start)])
        if trial.go:
            found.append(Lever("resin", start, 2.0, trial.probability, resin=other.resin.name))
    return found


def _solved(
    question: Question, known: Surfaced, outlook: Outlook, turned: Sequence[Parameter], means: Means
) -> list[Lever]:
    """The levers of all kinds that can be turned far enough, with how long and what it takes."""
    found = solve(question, known, outlook, turned)
    followed = trials.shortened(outlook, max((one.start for one in turned), default=known.at) + AHEAD)
    ladders = [Ladder(partial(_held, followed, one), len(HOURS), {len(HOURS) - 1: one.step}) for one in found]
    made = []
    for one, step in zip(found, climb(question, known, ladders), strict=True):
        assert step is not None  # held throughout it is a go: that is how it was found
        made.append(priced(question, outlook, one._replace(step=step), HOURS[step.place] * HOUR, means))
    return made


def _held(outlook: Outlook, one: Found, place: int) -> Variant:
    """A found amount, held for some of :data:`HOURS` after the start."""
    parameter = one.parameter
    changed = parameter.change(outlook, one.value, parameter.start + HOURS[place] * HOUR)
    return Variant(changed, parameter.start)
