"""A layer in progress: what it went through so far, as recorded, and what the coming hours make of it.

*Theory of operation.* The recorded past since the start is one path; the outlook continues it as many.
The film is followed along each joined path by the same course as any start (``advice.course``), so the
countdowns of a running layer and the forecast of a planned one can never disagree in method. The lot's
uncertainty spreads the paths also over the recorded part.

A stretch of the past that nobody measured is bridged in a straight line, what comes after the last reading
is foreseen; both are said: ``unmeasured``.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.advice.alert.probe import FADES, ProbePath
from curewatch.advice.alert.stages import BRIDGED, STAGES, Curing, Silence, stage
from curewatch.advice.judge import checks
from curewatch.advice.judge.answer import Moment
from curewatch.advice.judge.course import course, enough
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import UNHEARD, Surfaced
from curewatch.advice.judge.timeline import timeline
from curewatch.advice.judge.weather import STEP, Weather, as_it_is, dressed, joined
from curewatch.jobs import Layer
from curewatch.materials.resin import Resin
from curewatch.model.air.outlook import Outlook
from curewatch.model.air.past import Past
from curewatch.model.film import blush, film
from curewatch.model.film.ensemble import cures
from curewatch.model.film.ensemble_steps import Heat
from curewatch.model.film.film import Cure, History
from curewatch.model.film.lots import Lot, lots, shared_out
from curewatch.model.mass.buildup import Buildup
from curewatch.model.mass.laminate import LaminateLayer
from curewatch.model.mass.pot import WATCHED, Pot, pot
from curewatch.order import median
from curewatch.phrases import Said
from curewatch.units import FloatArray


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a layer stands at ``at``, and what comes."""

    layer: Layer
    resin: Resin
    at: float  # UTC [s]
    stage: str  # one of STAGES, on the likely path
    conversion: float  # of the usual lot on the likely path [1]
    glass_transition: float  # [K]
    timeline: tuple[Moment, ...]
    blush: str  # foreseen outcome: none | peel-ply | wash-and-abrade
    stalls: float  # share of paths that turn to glass before they set [1]
    wet: float  # share of paths whose surface comes within the margin of the dew point until set [1]
    unmeasured: Silence  # of its time so far
    own_peak: float | None = None  # that its own heat brings it to; none where that needs no care [K]
    pot: Pot | None = None  # the batch it was laid from, were it still in its cup
    cup_slope: float | None = None  # how fast the thermometer in its cup rises; none without one [K/s]
    probes: tuple[tuple[str, Said], ...] = ()  # each thermometer in it or its cup, and why it is not believed
    curing: Callable[[], Curing] | None = None  # how the conversion goes on, worked out when it is asked for

    def moment(self, name: str) -> Moment:
        """The moment of this name; raises ``KeyError`` if there is none."""
        for moment in self.timeline:
            if moment.name == name:
                return moment
        raise KeyError(name)

    @property
    def set(self) -> bool:
        """Past harm by dew, on the likely path."""
        return self.stage in STAGES[4:]


def follow(
    layer: Layer,
    question: Question,
    situation: Surfaced,
    outlook: Outlook,
    *,
    below: tuple[LaminateLayer, ...] = (),
    probe: ProbePath | None = None,
    cup: ProbePath | None = None,
) -> Progress:
    """Follow one running layer to now and beyond.

    Parameters
    ----------
    question : Question
        With the resin system the layer was laid with.
    situation : Surfaced
        With its past since the layer was started, where it was recorded.
    outlook : Outlook
        From the last reading on.
    probe, cup : ProbePath, optional
        Thermometers in the layer and in a cup of its mix. What the first measured is the layer's history,
        its own heat in it.
    below : tuple of LaminateLayer
        Laid before it in the same place, the oldest first: they are still warm. Times in UTC. [s]

    Raises
    ------
    OutOfValidity
        The paths leave the range of the cure law, or a dose is refused.
    """
    resin, limits = question.resin, question.limits
    first = np.array([int(np.ceil((layer.started - below[0].at) / STEP)) if below else 0])
    path = joined(layer.started - STEP * float(first[0]), situation.past, question.substrate, outlook)
    buildup: Buildup | None = replace(question, below=below).buildup_at(layer.started)
    now, end, own = situation.at, float(outlook.time[0]) + UNHEARD, path
    if probe is not None and probe.time.size:
        path = enough(path) if question.lots is None else path
        own, buildup = _as_measured(path, probe, _lots(layer, question, buildup, path), now), None
    usual = _usual(layer, question, buildup, own, end)
    seen = course(
        resin,
        as_it_is(path, outlook.errors),
        first,
        chosen=question.lots,
        peroxide_percent=layer.peroxide_percent,
        carbon_dioxide=situation.carbon_dioxide,
        rest=0.0,  # a layer's clock runs from when it lay
        buildup=buildup,
        measured=None if own is path else as_it_is(own, outlook.errors),
        ahead=float(path.time[-1]) - layer.started,
    )
    moments, so_far, elapsed = timeline(seen, resin), usual.cured(now), max(now - layer.started, 60.0)
    return Progress(
        layer=layer,
        resin=resin,
        at=situation.at,
        stage=stage({each.name: each.likely for each in moments}, situation.at),
        conversion=float(np.interp(elapsed, so_far.time, so_far.conversion[0])),
        glass_transition=float(np.interp(elapsed, so_far.time, so_far.glass_transition[0])),
        timeline=moments,
        blush=blush.outcome(resin, float(checks.blush_check(seen, resin, limits).value or 0.0)),
        stalls=float(np.mean(seen.glassy[0])),
        wet=float(np.mean(seen.lowest_margin[0] < limits.condensation_margin.value)),
        unmeasured=_unmeasured(situation.past, layer.started, probe),
        own_peak=None if (heat := checks.own_heat(seen, limits)) is None else heat.value,
        pot=_pot(layer, resin, path),
        cup_slope=None if cup is None else cup.slope,
        probes=tuple((each.name, each.trouble) for each in (probe, cup) if each is not None),
        curing=lambda: usual.curing(now, end),
    )


def _as_measured(path: Weather, probe: ProbePath, laid: "_Followed", now: float) -> Weather:
    """The paths as warm as a probe in the layer measured it; before and after that as the model has it.

    What comes is each lot's own heat from where it stands: from as much progress as it made along what was
    measured. What the probe read beyond that fades, and is forgotten once it is not believed. [UTC s]
    """
    time, until, started = path.time, float(probe.time[-1]) if probe.trouble else now, laid.layer.started
    cure, spoke = laid.cured(float(time[-1])), time >= probe.time[0]
    excess = cure.temperature - [np.interp(started + cure.time, time, each) for each in laid.skin]
    measured = np.interp(time, probe.time, probe.temperature)
    warmer = np.stack([np.interp(time - started, cure.time, each, right=0.0) for each in excess])
    moments = np.append(time[time < until], until)
    for lot, own in enumerate(excess):
        gone = np.interp(moments, time, np.where(spoke, measured, laid.skin[lot] + warmer[lot]))
        alone = laid._replace(lots=[laid.lots[lot]], buildup=None, time=moments, skin=gone[None])
        progress = alone.cured(until).progress[0, -1]
        stands = float(np.interp(progress, cure.progress[lot], cure.time))
        coming = np.interp(stands + time - until, cure.time, own, right=0.0)
        if not probe.trouble:
            beyond = probe.temperature[-1] - np.interp(until, time, laid.skin[lot] + coming)
            coming += beyond * np.exp(-np.maximum(time - until, 0.0) / FADES)
        warmer[lot] = np.where(time > until, coming, warmer[lot])
    skin = np.where(spoke & (time <= until), measured, path.surface_temperature + warmer[laid.which])
    return dressed(time, path.air_temperature, skin, path.vapour_pressure)


def _pot(layer: Layer, resin: Resin, path: Weather) -> Pot | None:
    """The batch in one cup, at the air of its start."""
    if layer.batch_mass is None or layer.pot_emptied is not None:
        return None
    air = float(np.interp(layer.started, path.time, median(path.air_temperature, axis=0)))
    return pot(resin, layer.batch_mass, air, duration=WATCHED, peroxide_percent=layer.peroxide_percent)


class _Followed(NamedTuple):
    """Lots of a layer on the middle of the paths."""

    layer: Layer
    lots: list[Lot]
    which: NDArray[np.intp]  # of them each path has
    buildup: Buildup | None
    time: FloatArray  # UTC [s]
    skin: FloatArray  # (lots, n) [K]
    air: FloatArray  # (lots, n) [K]

    def cured(self, until: float) -> Cure:
        """So far; its times are from the start of the layer. [UTC s]"""
        upto = slice(0, int(np.searchsorted(self.time, until + STEP, side="right")) + 1)
        begin, started = float(self.time[0]), self.layer.started
        if self.buildup is None:  # one lot, by itself: it needs no table
            own = film.cure(self.lots[0].resin, self._since(upto), rate_factor=self.lots[0].factor)
            return Cure(own.time, *(each[None] for each in own[1:]))
        history = History(self.time[upto] - begin, self.skin[:, upto])
        heat = Heat(self.buildup, self.air[:, upto])
        return cures(self.lots[0].resin, history, self.lots, heat, started - begin)

    def _since(self, upto: slice) -> History:
        """The path of the first lot from the start of the layer."""
        time, skin, started = self.time[upto], self.skin[0, upto], self.layer.started
        later = np.append(0.0, time[time > started] - started)
        return History(later, np.interp(later + started, time, skin))

    def curing(self, now: float, until: float) -> Curing:
        """How it goes on. [UTC s]"""
        found, started = self.cured(until), self.layer.started
        since = int(np.clip(np.searchsorted(found.time, now - started) - 1, 0, found.time.size - 2))
        columns = (np.round(found.time, 3), np.round(found.conversion[0], 5))
        return Curing(started, *(tuple(each[since:].tolist()) for each in columns))


def _usual(
    layer: Layer, question: Question, buildup: Buildup | None, path: Weather, until: float
) -> _Followed:
    """The middle of the lot, and of the paths until then. [UTC s]"""
    factor = 1.0 if not question.lots else float(median([lot.factor for lot in question.lots]))
    upto = slice(0, int(np.searchsorted(path.time, until + STEP, side="right")) + 1)
    return _on_the_middle((layer, buildup), [Lot(question.resin, factor)], np.zeros(1, np.intp), path, upto)


def _lots(layer: Layer, question: Question, buildup: Buildup | None, path: Weather) -> _Followed:
    """The lots that a course shares out over these paths."""
    chosen = list(question.lots or lots(question.resin))
    which = shared_out(path.members, len(chosen))
    if question.lots:
        which = np.arange(path.members) % len(chosen)
    return _on_the_middle((layer, buildup), chosen, which, path, slice(None))


def _on_the_middle(
    laid: tuple[Layer, Buildup | None],
    chosen: list[Lot],
    which: NDArray[np.intp],
    path: Weather,
    upto: slice,
) -> _Followed:
    dose = chosen[0].resin.dose_factor(laid[0].peroxide_percent)
    dosed = [Lot(each.resin, each.factor * dose) for each in chosen]
    paths = (path.surface_temperature, path.air_temperature)
    skin, air = (np.tile(median(each[:, upto], axis=0), (len(dosed), 1)) for each in paths)
    return _Followed(laid[0], dosed, which, laid[1], path.time[upto], skin, air)


def _unmeasured(past: Past, started: float, probe: ProbePath | None) -> Silence:
    """What nobody measured since the start: neither its surface, nor the air, nor a probe in it. [UTC s]"""
    heard = past.time[np.isfinite(past.surface_temperature) | np.isfinite(past.air_temperature)]
    inside = np.sort(np.concatenate([heard, [] if probe is None else probe.time]))
    times = np.concatenate([[started], inside[inside > started]])
    gaps = np.diff(times)
    return Silence(float(gaps[gaps > BRIDGED].sum()), float(times[-1]))
