"""Go, no-go or unknown for one start: the checks, the verdict, the times.

The order of judgement: a face below that fails makes it no-go, whatever is known of the air; a reading
that cannot be trusted, or a resin outside what is known of it, makes the answer unknown; then any check
that fails makes it no-go; only then is it go. Each check on the coming hours holds if it holds on a given
share of the paths, from the start until the film is set; and all of them together must hold on that
share. The sensors' errors are in the paths.
"""

import numpy as np
from msgspec.structs import replace

from curewatch.advice.judge import cautions, checks, data_quality, reasons
from curewatch.advice.judge.answer import Advice, Check, Moment, Status, Verdict
from curewatch.advice.judge.course import Course, course
from curewatch.advice.judge.ground import OF_THE_FACE, Ground, known_checks, remedies, warming_check
from curewatch.advice.judge.limits import Limits
from curewatch.advice.judge.situation import Situation, Surfaced
from curewatch.advice.judge.timeline import PotBatch, pot_moments, timeline
from curewatch.advice.judge.weather import STEP, Paths, from_below, weather
from curewatch.errors import OutOfValidity
from curewatch.materials.resin import Resin
from curewatch.model.film import blush
from curewatch.model.film.lots import Lot
from curewatch.model.mass.buildup import Buildup
from curewatch.order import median
from curewatch.phrases import Said, phrase

NOW = 1800.0  # s: a start this close is judged by the readings of now as well
HELD = "Fit until it sets"
USE_RATE = 0.83 / 3600  # kg/s that one pair of hands wets out, of 450 g/m² cloth in 0.6 h/m² (assumed)


def assess(
    situation: Situation,
    resin: Resin,
    limits: Limits,
    outlook: Paths | None,
    start: float | None = None,
    *,
    batch_mass: float | None = None,
    use_rate: float = USE_RATE,
    peroxide_percent: float | None = None,
    lots: tuple[Lot, ...] | None = None,
    ground: Ground | None = None,
    buildup: Buildup | None = None,
) -> Advice:
    """Judge one start.

    Parameters
    ----------
    situation : Situation
        What is known now, with every trouble; without its surface the answer is unknown.
    resin : Resin
    limits : Limits
    outlook : Paths or None
        The coming hours; without them the answer is unknown.
    start : float, optional
        UTC; now if not given. [s]
    batch_mass : float, optional
        Mixed in one pot: it must be used up before it kicks. [kg]
    use_rate : float
        How fast it is spread. [kg/s]
    peroxide_percent, lots, buildup
        As in :func:`curewatch.advice.judge.course.course`.
    ground : Ground, optional
        What lies below; nothing is asked of it if not given.

    Returns
    -------
    Advice
        Never a go with anything unknown in it.
    """
    at = situation.at if start is None else start
    below = () if ground is None else known_checks(resin, ground)
    said = replace(
        _nothing_known(situation, resin, at, batch_mass, peroxide_percent),
        remedies=remedies(below),
        basis=getattr(outlook, "basis", ""),
        wanted=limits.probability.value,
        buildup=buildup,
    )
    known = (*data_quality.freshness(situation, limits), *below)
    doubts = data_quality.remedies(situation, limits)
    if doubts:
        return _concluded(said, known, doubts)
    if not isinstance(situation, Surfaced) or outlook is None:
        return _concluded(said, (*known, _missing(situation)))
    try:
        there = weather(outlook, at)
    except OutOfValidity:
        beyond, remedy = _beyond(outlook, at)
        return _concluded(said, (*known, beyond), (remedy,))
    there, earlier = from_below(there, situation.past, buildup, outlook)
    try:
        seen = course(
            resin,
            there,
            np.array([earlier]),
            chosen=lots,
            peroxide_percent=peroxide_percent,
            carbon_dioxide=situation.carbon_dioxide,
            buildup=buildup,
        )
    except OutOfValidity as trouble:
        range_check = _unheard("resin-range", "within what is known of the resin", str(trouble))
        return _concluded(said, (*known, range_check), (str(trouble), checks.back_in_range(resin)))
    batch = None if batch_mass is None else PotBatch(resin, batch_mass, peroxide_percent)
    moments, used = _in_the_pot(batch, use_rate, at, float(median(there.air_temperature[:, earlier])))
    judged = (*judge(situation, resin, limits, seen, ground), *used)
    ranged = (checks.back_in_range(resin),) if any(one.name == "resin-range" for one in judged) else ()
    said = replace(_read_off(said, resin, judged), timeline=moments + timeline(seen, resin))
    return _concluded(said, (*known, *judged), ranged)


def _missing(situation: Situation) -> Check:
    """Without its surface, or without the coming hours, nothing can be judged."""
    if not isinstance(situation, Surfaced):
        return _NO_SURFACE
    return _unheard("coming-hours", "the coming hours", "no outlook")


def _beyond(outlook: Paths, start: float) -> tuple[Check, str]:
    """A start outside the coming hours: which ones can be judged, and what to do. [UTC s]"""
    first, last = float(outlook.time[0]), float(outlook.time[-1]) - 2 * STEP
    if start < first:
        reason = phrase("That start has passed. Starts are judged from {first:moment} on", first=first)
        return _unheard("coming-hours", "the coming hours", reason), "choose a start from now on"
    reason = phrase("Too far ahead: starts are judged until {last:moment}", last=last)
    return _unheard("coming-hours", "the coming hours", reason), "choose an earlier start"


def _nothing_known(
    situation: Situation, resin: Resin, start: float, batch_mass: float | None, peroxide_percent: float | None
) -> Advice:
    """The answer before anything was judged: unknown, with what is always minded."""
    return Advice(
        Verdict.UNKNOWN,
        "",
        at=situation.at,
        start=start,
        resin=resin.name,
        resin_title=resin.title,
        cautions=(*_rejected(situation), *_usual(situation, resin, batch_mass, peroxide_percent)),
        **resin.dose_used(peroxide_percent)._asdict(),
    )


def _in_the_pot(
    batch: PotBatch | None, use_rate: float, at: float, air: float
) -> tuple[tuple[Moment, ...], tuple[Check, ...]]:
    """When a batch kicks, and whether it is used up before; nothing where none is asked about."""
    if batch is None:
        return (), ()
    moments = pot_moments(batch, at, air)
    return moments, (checks.used_in_time(moments[0], at, batch.mass, use_rate),)


def _read_off(said: Advice, resin: Resin, judged: tuple[Check, ...]) -> Advice:
    """With what single checks tell: the chance of all together, and blush."""
    named = {check.name: check for check in judged}
    return replace(
        said,
        probability=named["together"].value,
        blush=blush.outcome(resin, named["blush"].value or 0.0),
        blush_reason=named["blush"].reason,
    )


def judge(
    situation: Surfaced, resin: Resin, limits: Limits, seen: Course, ground: Ground | None = None
) -> tuple[Check, ...]:
    """Every check on the first start of a course."""
    errors = checks.sensor_errors(situation)
    together = float(np.mean(checks.holds(seen, checks.lines(seen, limits))[0]))
    soon = float(seen.start[0]) - situation.at <= NOW
    found = (
        checks.condensation_now(situation, limits, errors) if soon else None,
        *(checks.judged(line, limits.probability.value) for line in checks.weather_lines(seen, limits)),
        _sets(seen, limits),
        checks.shared("together", "all of these at once", together, limits),
        checks.blush_check(seen, resin, limits),
        checks.resin_range(seen, resin),
        None if ground is None else warming_check(seen, ground, limits.probability.value),
        checks.own_heat(seen, limits),
    )
    return tuple(check for check in found if check is not None)


def _sets(seen: Course, limits: Limits) -> Check:
    share = float(np.mean(np.isfinite(seen.set[0])))
    stalled = float(np.mean(seen.glassy[0]))
    reason = phrase("The cold may stop it ({stalled:chance})", stalled=stalled) if stalled >= 0.01 else ""
    return checks.shared("sets", "sets within two days", share, limits, reason)


def _unheard(name: str, title: str, reason: Said) -> Check:
    return Check(name, title, Status.UNKNOWN, "number", reason=reason)


_NO_SURFACE = _unheard("reading-surface", "surface: no reading", "nothing is known of the surface")


def _concluded(said: Advice, found: tuple[Check, ...], more: tuple[Said, ...] = ()) -> Advice:
    """The verdict that these checks allow, and its headline: the worst thing first; more to do."""
    care = [check for check in found if check.status is Status.CARE]
    headline: Said
    worst = deciding(found)
    if worst is not None:
        verdict = Verdict.UNKNOWN if worst.status is Status.UNKNOWN else Verdict.NO_GO
        headline = reasons.why(worst, found)
    else:
        verdict = Verdict.GO
        said_with_care = {f"care_{check.name.replace('-', '_')}": check.reason for check in care}
        words = ". ".join([HELD, *(f"{{{name}}}" for name in said_with_care)])
        headline = phrase(words, **said_with_care) if care else HELD
    return replace(said, verdict=verdict, headline=headline, checks=found, remedies=said.remedies + more)


def deciding(found: tuple[Check, ...]) -> Check | None:
    """The check that the headline speaks of; none for a go.

    A face below that fails: no reading mends it. Else the first unknown; else the one that holds on the
    fewest paths; "all at once" only when no single check fails.
    """
    unknown = [check for check in found if check.status is Status.UNKNOWN]
    failing = [check for check in found if check.status is Status.FAILS]
    wrong_face = [check for check in failing if check.name in OF_THE_FACE]
    if wrong_face:
        return wrong_face[0]
    if unknown or not failing:
        return unknown[0] if unknown else None
    single = [check for check in failing if check.name != "together"] or failing
    return min(single, key=lambda check: -1.0 if check.probability is None else check.probability)


def _usual(
    situation: Situation, resin: Resin, batch_mass: float | None, peroxide_percent: float | None
) -> tuple[str, ...]:
    """The usual cautions; of an air in which the pot cannot be followed, its heat's too."""
    air = None if situation.air is None else situation.air.temperature
    try:
        hot = cautions.pot_overheats(resin, batch_mass, air, peroxide_percent)
    except OutOfValidity:
        hot = True
    return cautions.for_layup(resin.chemistry, pot_overheats=hot)


def _rejected(situation: Situation) -> tuple[str, ...]:
    """What came in and could not be taken is never passed over in silence."""
    return (f"{situation.rejected} (curewatch doctor)",) if situation.rejected else ()
