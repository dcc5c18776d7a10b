"""What would make it a go: the smallest single changes, each found by trying them on the real assessment.

*Theory of operation.* Each lever is a :class:`Knob`: a way to change the coming hours or the start by an
amount. A coarse scan over a quarter of the paths brackets the smallest amount that is a go; a fine scan
of that bracket over all paths finds it, to the knob's tolerance. So at the amount told the assessment is
a go, and one tolerance less it is not. Where no single lever does it, two are tried together.

Efforts only rank the levers. They are ours: an hour of waiting counts 1, other numbers say what they
are taken to be worth in such hours.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from curewatch.advice import checks, trials
from curewatch.advice.answer import Advice, Lever, Status, Verdict
from curewatch.advice.course import course
from curewatch.advice.question import Question, ask, coming_hours, with_surface
from curewatch.advice.situation import Situation
from curewatch.advice.timeline import Batch, pot_moments
from curewatch.advice.trials import Trial, Variant
from curewatch.advice.verdict import NOW
from curewatch.advice.weather import weather
from curewatch.model import warming
from curewatch.model.outlook import Outlook
from curewatch.model.pot import Shape
from curewatch.model.shed import Shed
from curewatch.model.warming import Fuel
from curewatch.units import DAY, HOUR, MINUTE, FloatArray, kelvin_from_celsius

EVERY = 4  # the coarse scan asks every fourth path
QUARTER = 15 * MINUTE
LOOK = DAY  # how far other starts are looked for [s]
HELD = 36 * HOUR  # a heater is held this long while its target is looked for
LEADS = (0.0, 2 * HOUR)  # how long before the start the heat or the drying goes on
WARMEST = kelvin_from_celsius(30.0)  # more is no shed
HOURS = (4.0, 8.0, 12.0, 16.0, 20.0, 24.0, 30.0, 36.0)  # of heating that are tried
KWH = 3.6e6  # J
FIRM = 0.9  # share of paths below which a go is called weak (ours)
ROUNDS = 6  # of moving by one tolerance


Change = Callable[[Outlook, float, float], Outlook]  # outlook, amount, until -> outlook


@dataclass(frozen=True, eq=False)
class Knob:
    """A lever before its amount is known: ``values`` rise in effort, a whole number of tolerances apart."""

    kind: str
    values: FloatArray
    tolerance: float
    change: Change
    begin: float
    start: float
    group: int = 0  # knobs of one kind and group are one lever with several leads

    @property
    def step(self) -> float:
        """One tolerance towards more effort."""
        return self.tolerance if self.values[-1] >= self.values[0] else -self.tolerance

    def allows(self, value: float) -> bool:
        """Whether this amount lies within what is tried."""
        low, high = min(self.values[0], self.values[-1]), max(self.values[0], self.values[-1])
        return bool(low <= value <= high)


class Found(NamedTuple):
    """The smallest amount of a knob that is a go."""

    knob: Knob
    value: float
    trial: Trial


@dataclass(frozen=True, slots=True)
class Means:
    """What is at hand: the shed as identified, what the heater burns, other resins on the shelf."""

    shed: Shed
    fuel: Fuel | None = None  # burnt without a flue
    others: tuple[Question, ...] = ()


def advise(
    question: Question, situation: Situation, means: Callable[[], Means], start: float | None = None
) -> Advice:
    """The advice for one start, and what would make it a go if it is none.

    ``means`` is asked only then: to identify a shed takes longer than to answer.
    """
    known = with_surface(situation, question.substrate)
    outlook = coming_hours(known, question.substrate)
    said = ask(question, situation, start, coming=outlook)
    if outlook is None or said.verdict is Verdict.UNKNOWN:
        return said
    found: list[Lever] = []
    if any(check.name == "blush" and check.status is Status.CARE for check in said.checks):
        found.append(Lever("peel ply", said.start, 0.1))
    if any(check.name == "batch" and check.status is Status.FAILS for check in said.checks):
        found += _smaller(question, said, _air_at(outlook, said.start))
    failing = {check.name for check in said.checks if check.status is Status.FAILS} - {"batch"}
    weak = said.verdict is Verdict.GO and (said.likelihood or 0.0) < FIRM
    if failing or weak:
        asked = question if failing else _firmer(question)
        changes = levers(asked, situation, outlook, said.start, means())
        found += changes
        said = replace(said, remedies=(*said.remedies, *_remarks(weak=weak, any_=bool(changes))))
    return replace(said, levers=tuple(sorted(found, key=lambda lever: lever.effort)))


def _firmer(question: Question) -> Question:
    """The same question, asked for a go that holds on more of the paths."""
    line = replace(question.limits.likelihood, value=FIRM)
    return replace(question, limits=replace(question.limits, likelihood=line))


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
    moments = pot_moments(Batch(question.system, mass, question.peroxide_percent, shape), 0.0, air)
    used = moments[0].early
    return used is None or used >= mass / question.use_rate


def levers(
    question: Question, situation: Situation, outlook: Outlook, start: float, means: Means
) -> tuple[Lever, ...]:
    """The levers that make a start a go, the least effort first.

    Parameters
    ----------
    situation : Situation
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
    known = with_surface(situation, question.substrate)
    single = [
        *_other_starts(question, known, outlook, start),
        *_other_resins(known, outlook, start, means),
        *_solved(question, known, outlook, knobs(question, known, outlook, start, means), means),
    ]
    doing = [lever for lever in single if lever.kind != "start"]
    if not doing:
        single += _two_together(question, known, outlook, start, means)
    return tuple(sorted(single, key=lambda lever: lever.effort))


# ---- other starts, other resins


def _other_starts(question: Question, known: Situation, outlook: Outlook, start: float) -> list[Lever]:
    """The nearest start before and after that is a go, a quarter of an hour apart."""
    begin = QUARTER * np.ceil((known.at + NOW) / QUARTER)
    times = begin + QUARTER * np.arange(int(LOOK / QUARTER) + 1)
    few_question, few = trials.thinned(question, outlook, EVERY)
    there = weather(few, float(times[0]))
    seen = course(
        question.system,
        there,
        np.arange(times.size, dtype=np.int64),
        chosen=few_question.lots,
        peroxide_percent=question.peroxide_percent,
        carbon_dioxide=known.carbon_dioxide or question.carbon_dioxide,
        only_set=True,
    )
    drawn = checks.lines(seen, question.limits, checks.sensor_errors(known))
    go = checks.holds(seen, drawn).mean(axis=1) >= question.limits.likelihood.value
    before, after = np.flatnonzero(go & (times < start)), np.flatnonzero(go & (times > start))
    nearest = [(int(at), -1) for at in before[-1:]] + [(int(at), 1) for at in after[:1]]
    found = []
    for near in nearest:
        settled = _settled_start(question, known, outlook, times, near)
        if settled is not None:
            when, trial = settled
            found.append(Lever("start", when, abs(when - start) / HOUR, trial.likelihood))
    return [lever for lever in found if lever.start != start]


def _settled_start(
    question: Question, known: Situation, outlook: Outlook, times: FloatArray, near: tuple[int, int]
) -> tuple[float, Trial] | None:
    """The first start that is a go over all paths, looking away from the asked one; from a near guess."""
    guess, away = near
    for _ in range(ROUNDS):
        tried = [place for place in (guess - away, guess, guess + away) if 0 <= place < times.size]
        judged = trials.judge(question, known, [Variant(outlook, float(times[place])) for place in tried])
        first = _first_go(judged)
        if first is None:
            guess = tried[-1] + away
        elif first == 0 and len(tried) == 3:
            guess = tried[0] - away
        else:
            return float(times[tried[first]]), judged[first]
        if not 0 <= guess < times.size:
            return None
    return None


def _other_resins(known: Situation, outlook: Outlook, start: float, means: Means) -> list[Lever]:
    """Every other system on the shelf that is a go as things are."""
    found = []
    for other in means.others:
        (trial,) = trials.judge(other, known, [Variant(outlook, start)])
        if trial.go:
            found.append(Lever("resin", start, 2.0, trial.likelihood, system=other.system.name))
    return found


# ---- knobs


def knobs(question: Question, known: Situation, outlook: Outlook, start: float, means: Means) -> list[Knob]:
    """Warming the shed, drying its air, warming the surface; each with the leads it may need."""
    air = float(np.median(outlook.air_temperature[:, 0]))
    humidity = known.air.relative_humidity if known.air is not None else None
    warmest = min(WARMEST, question.limits.temperature_highest.value - 2.0)
    targets = np.arange(0.5 * np.ceil(2 * air), warmest + 0.01, 3.0)
    dryness = np.arange(np.floor(100 * (humidity or 0.0)) / 100, 0.29, -0.10)
    rises = np.arange(0.0, 16.1, 4.0)
    found = []
    for lead in LEADS:
        begins, works = (known.at, max(start, known.at + lead))
        if targets.size:
            found.append(
                Knob("warm", targets, 0.5, _warmer(question, means, begins, max(HOUR, lead)), begins, works)
            )
        if humidity is not None:
            found.append(Knob("dry", dryness, 0.01, _drier(means, begins), begins, works))
        found.append(Knob("surface", rises, 0.5, _warmer_surface(question, begins), begins, works))
    return [knob for knob in found if knob.values.size > 1]


def _warmer(question: Question, means: Means, begin: float, ramp: float) -> Change:
    def change(outlook: Outlook, target: float, until: float) -> Outlook:
        return warming.warmed(
            outlook,
            means.shed,
            target,
            begin,
            until,
            substrate=question.substrate,
            fuel=means.fuel,
            ramp=ramp,
        ).outlook

    return change


def _drier(means: Means, begin: float) -> Change:
    def change(outlook: Outlook, humidity: float, until: float) -> Outlook:
        return warming.dried(outlook, means.shed, humidity, begin, until).outlook

    return change


def _warmer_surface(question: Question, begin: float) -> Change:
    def change(outlook: Outlook, rise: float, until: float) -> Outlook:
        return warming.surface_warmed(outlook, rise, begin, until, substrate=question.substrate)

    return change


def _solved(
    question: Question, known: Situation, outlook: Outlook, turned: Sequence[Knob], means: Means
) -> list[Lever]:
    """The levers of all kinds that can be turned far enough, with how long and what it takes."""
    found = solve(question, known, outlook, turned)
    return _held_long_enough(question, known, outlook, found, means)


def _held_long_enough(
    question: Question, known: Situation, outlook: Outlook, found: Sequence[Found], means: Means
) -> list[Lever]:
    """How long each must be held: the shortest of :data:`HOURS` after the start that is still a go."""
    few_question, few = trials.thinned(question, outlook, EVERY)
    scanned = _hold(few_question, known, few, [(one, HOURS) for one in found])
    whole = [
        (one, HOURS[max(0, _first_go(trials_) or 0) :][:2])
        for one, trials_ in zip(found, scanned, strict=True)
    ]
    judged = _hold(question, known, outlook, whole)
    made = []
    for (one, hours), trials_ in zip(whole, judged, strict=True):
        place = _first_go(trials_)
        if place is None:  # held throughout it is a go: that is how it was found
            made.append(_lever(question, outlook, one, HELD, means))
        else:
            made.append(
                _lever(question, outlook, one._replace(trial=trials_[place]), hours[place] * HOUR, means)
            )
    return made


def _hold(
    question: Question, known: Situation, outlook: Outlook, asked: Sequence[tuple[Found, Sequence[float]]]
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


def _lever(question: Question, outlook: Outlook, one: Found, held: float, means: Means) -> Lever:
    """A found amount as a lever: when to switch on and off, what it takes, how much trouble it is."""
    knob, until, trial = one.knob, one.knob.start + held, one.trial
    lead = (knob.start - knob.begin) / HOUR
    lever = Lever(
        knob.kind,
        knob.start,
        0.5 * lead,
        trial.likelihood,
        target=one.value,
        begin=knob.begin,
        until=until,
    )
    if knob.kind == "warm":
        return _with_heat(lever, question, outlook, means)
    if knob.kind == "dry":
        water = float(np.median(warming.dried(outlook, means.shed, one.value, knob.begin, until).water))
        return replace(lever, water=water, effort=lever.effort + 2.0 + water)
    return replace(lever, effort=lever.effort + 1.0 + one.value / 8.0)


def _with_heat(lever: Lever, question: Question, outlook: Outlook, means: Means) -> Lever:
    if lever.target is None or lever.begin is None or lever.until is None:
        return lever
    taken = warming.warmed(
        outlook,
        means.shed,
        lever.target,
        lever.begin,
        lever.until,
        substrate=question.substrate,
        fuel=means.fuel,
        ramp=max(HOUR, lever.start - lever.begin),
    )
    energy = float(np.median(taken.energy))
    burnt = means.fuel or warming.PROPANE
    water = energy / burnt.heat * burnt.water
    warning = (
        f"unflued {burnt.name} puts {water:.1f} kg of water into this air, and carbon monoxide: vent it"
        if means.fuel
        else f"electric or flued heat only: unflued gas would add {water:.1f} kg of water and carbon monoxide"
    )
    return replace(
        lever,
        power=float(np.quantile(taken.power.max(axis=1), 0.9)),
        energy=energy,
        water=water if means.fuel else None,
        warning=warning,
        effort=lever.effort + 1.5 + energy / KWH / 10.0,
    )


# ---- two together


def _two_together(
    question: Question, known: Situation, outlook: Outlook, start: float, means: Means
) -> list[Lever]:
    """Where no single change does it: drier air and warmth, or another resin and warmth."""
    return [
        *_warm_and_dry(question, known, outlook, start, means),
        *_warm_other_resins(known, outlook, start, means),
    ]


def _warm_and_dry(
    question: Question, known: Situation, outlook: Outlook, start: float, means: Means
) -> list[Lever]:
    """Warmth for each of a few drynesses; of the easiest pair, then as little drying as does it.

    Less warmth was no go with the drier air, so it is none with the damper: both amounts are the smallest.
    """
    works = max(start, known.at + LEADS[1])
    every = knobs(question, known, outlook, start, means)
    warm = next((knob for knob in every if knob.kind == "warm" and knob.start == works), None)
    if warm is None:
        return []
    turned = [
        (humidity, replace(warm, change=_then_dried(warm.change, means, known.at, humidity), group=place))
        for place, humidity in enumerate((0.70, 0.60, 0.50, 0.40))
    ]
    pairs = _paired(turned, solve(question, known, outlook, [knob for _, knob in turned]))
    if not pairs:
        return []
    warmed = [(humidity, one, _lever(question, outlook, one, HELD, means)) for (humidity, _), one in pairs]
    humidity, one, lever = min(warmed, key=lambda pair: pair[2].effort)
    least = _least_drying(question, known, outlook, one, warmer=warm.change, humidity=humidity, means=means)
    dry = Lever("dry", works, 2.0, target=humidity, begin=known.at, until=lever.until)
    if least is not None:
        dry = replace(dry, target=least.value)
        lever = replace(lever, likelihood=least.trial.likelihood)
    return [replace(lever, besides=dry, effort=lever.effort + dry.effort)]


def _least_drying(
    question: Question,
    known: Situation,
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
        [replace(warm.knob, kind="dry", values=values, tolerance=0.01, change=change)],
    )
    return found[0] if found else None


def _then_dried(change: Change, means: Means, begin: float, humidity: float) -> Change:
    def both(outlook: Outlook, target: float, until: float) -> Outlook:
        return warming.dried(change(outlook, target, until), means.shed, humidity, begin, until).outlook

    return both


def _paired(
    turned: Sequence[tuple[float, Knob]], found: Sequence[Found]
) -> list[tuple[tuple[float, Knob], Found]]:
    """Each found amount beside the dryness its knob was made with."""
    return [(pair, one) for one in found for pair in turned if pair[1] is one.knob]


def _warm_other_resins(known: Situation, outlook: Outlook, start: float, means: Means) -> list[Lever]:
    found = []
    for other in means.others:
        warm = [knob for knob in knobs(other, known, outlook, start, means) if knob.kind == "warm"]
        for one in solve(other, known, outlook, warm)[:1]:
            lever = _lever(other, outlook, one, HELD, means)
            resin = Lever("resin", lever.start, 2.0, system=other.system.name)
            found.append(replace(lever, besides=resin, effort=lever.effort + resin.effort))
    return found


# ---- solving


def solve(question: Question, known: Situation, outlook: Outlook, turned: Sequence[Knob]) -> list[Found]:
    """The smallest amount of each kind of knob that is a go; kinds that never are, are left out.

    All knobs are scanned together, coarsely over a quarter of the paths. Of each kind the first one that
    comes to a go, that of the earliest start, is then scanned finely over all paths.
    """
    few_question, few = trials.thinned(question, outlook, EVERY)
    scanned = _scan(few_question, known, few, [(knob, knob.values) for knob in turned])
    bracketed: dict[tuple[str, int], tuple[Knob, int]] = {}
    for knob, judged in zip(turned, scanned, strict=True):
        place = _first_go(judged)
        if place:  # not the first amount either: that is none at all
            bracketed.setdefault((knob.kind, knob.group), (knob, place))
    near = [(knob, _fine(knob, place)) for knob, place in bracketed.values()]
    nearly = _scan(few_question, known, few, near)
    guesses = [
        (knob, float(values[_first_go(judged) or 0]))
        for (knob, values), judged in zip(near, nearly, strict=True)
    ]
    return _settled(question, known, outlook, guesses)


def _settled(
    question: Question, known: Situation, outlook: Outlook, guesses: Sequence[tuple[Knob, float]]
) -> list[Found]:
    """The smallest amounts over all paths, from guesses that are right to a few tolerances."""
    found: dict[Knob, Found] = {}
    moving = list(guesses)
    for _ in range(ROUNDS):
        asked = [(knob, _around(knob, guess)) for knob, guess in moving]
        moving = []
        for (knob, values), judged in zip(asked, _scan(question, known, outlook, asked), strict=True):
            first = _first_go(judged)
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
    question: Question, known: Situation, outlook: Outlook, asked: Sequence[tuple[Knob, FloatArray]]
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


def _first_go(judged: Sequence[Trial]) -> int | None:
    return next((at for at, trial in enumerate(judged) if trial.go), None)
