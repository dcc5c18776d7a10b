"""A layer in progress: what it went through so far, as recorded, and what the coming hours make of it.

*Theory of operation.* The recorded past since the start is one path; the outlook continues it as many.
The film is followed along each joined path by the same course as any start (``advice.course``), so the
countdowns of a running layer and the forecast of a planned one can never disagree in method. The lot's
uncertainty spreads the paths also over the recorded part.

A stretch of the past that nobody measured is bridged in a straight line, what comes after the last reading
is foreseen; both are said: ``unmeasured``.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from curewatch.advice.alert.probe import ProbePath
from curewatch.advice.alert.stages import BRIDGED, STAGES, Curing, Silence, stage
from curewatch.advice.judge import checks
from curewatch.advice.judge.answer import Moment
from curewatch.advice.judge.course import course, enough
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import UNHEARD, Surfaced
from curewatch.advice.judge.timeline import PotBatch, PotLives, pot_lives, timeline
from curewatch.advice.judge.weather import STEP, Weather, along, as_it_is, joined
from curewatch.jobs import Layer
from curewatch.materials.resin import Resin
from curewatch.model.air.outlook import Outlook, ReadingErrors
from curewatch.model.air.past import Past
from curewatch.model.film import blush
from curewatch.model.film.film import History
from curewatch.model.film.lots import Lot, lots, shared_out
from curewatch.model.film.probed import Laid, MeasuredLayer, own_paths
from curewatch.model.mass.buildup import Buildup
from curewatch.model.mass.laminate import LaminateLayer
from curewatch.order import median
from curewatch.phrases import Said
from curewatch.units import HOUR, FloatArray

FINE, SOON = 60.0, 12 * HOUR  # s: steps of a layer that a probe is in, and how far ahead of now


class Progress(Struct, frozen=True):
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
    pot: PotLives | None = None  # of the batch it was laid from, were it still in its cup
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
    now, end = situation.at, float(outlook.time[0]) + UNHEARD
    laid = _Followed(None, _usual(layer, question, buildup, path, end))
    if probe is not None and probe.time.size:
        path = enough(path) if question.lots is None else path
        laid, buildup = _probed(layer, question, buildup, path, seen=probe.measured, now=now), None
    seen = course(
        resin,
        as_it_is(path, outlook.errors),
        first,
        chosen=question.lots,
        peroxide_percent=layer.peroxide_percent,
        carbon_dioxide=situation.carbon_dioxide,
        rest=0.0,  # a layer's clock runs from when it lay
        buildup=buildup,
        measured=_as_it_is(laid.own, outlook.errors),
        ahead=float(path.time[-1]) - layer.started,
    )
    moments, so_far, elapsed = timeline(seen, resin), laid.usual.cured(now), max(now - layer.started, 60.0)
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
        curing=lambda: _curing(laid.usual, now, end),
    )


class _Followed(NamedTuple):
    """What a layer goes by."""

    own: History | None  # with a probe in it: its temperature on each path, from their beginning [s, K]
    usual: Laid  # lot, on the middle of the paths


def _probed(
    layer: Layer,
    question: Question,
    buildup: Buildup | None,
    path: Weather,
    *,
    seen: MeasuredLayer,
    now: float,
) -> _Followed:
    """As warm as a probe in it measured, before and after that as the model has it.

    In steps so short that no peak passes between two of them, as long as one may come. ``now`` UTC [s]
    """
    time = np.union1d(np.arange(path.time[0], min(now + SOON, path.time[-1]), FINE), path.time)
    bare, air = (along(path.time, each, time) for each in (path.surface_temperature, path.air_temperature))
    chosen = list(question.lots or lots(question.resin))
    which = np.arange(path.members) % len(chosen) if question.lots else shared_out(path.members, len(chosen))
    every = [*chosen, *_usual_lot(question)]
    laid = _on_the_middle(layer, buildup, every, time, surface=bare, air=air)
    surfaces = np.concatenate([bare, laid.surface[None]])
    own = own_paths(laid, seen, now, surfaces, np.append(which, len(chosen)))
    usual = laid._replace(lots=laid.lots[-1:], buildup=None, surface=own[-1])
    return _Followed(History(time - time[0], own[:-1]), usual)


def _pot(layer: Layer, resin: Resin, path: Weather) -> PotLives | None:
    """The batch in one cup, at the air of its start."""
    if layer.batch_mass is None or layer.pot_emptied is not None:
        return None
    air = float(np.interp(layer.started, path.time, median(path.air_temperature, axis=0)))
    return pot_lives(PotBatch(resin, layer.batch_mass, layer.peroxide_percent), air)


def _as_it_is(own: History | None, errors: ReadingErrors | None) -> History | None:
    """With each path's error of the sensor taken off."""
    if own is None or errors is None:
        return own
    return own._replace(temperature=own.temperature - errors.surface)


def _curing(laid: Laid, now: float, until: float) -> Curing:
    """How it goes on. [UTC s]"""
    found, started = laid.cured(until), laid.started
    since = int(np.clip(np.searchsorted(found.time, now - started) - 1, 0, found.time.size - 2))
    columns = (np.round(found.time, 3), np.round(found.conversion[0], 5))
    return Curing(started, *(tuple(each[since:].tolist()) for each in columns))


def _usual(layer: Layer, question: Question, buildup: Buildup | None, path: Weather, until: float) -> Laid:
    """The usual lot, where the air takes its likely course until then. [UTC s]"""
    upto = slice(0, int(np.searchsorted(path.time, until + STEP, side="right")) + 1)
    skin, air = path.surface_temperature[:, upto], path.air_temperature[:, upto]
    return _on_the_middle(layer, buildup, _usual_lot(question), path.time[upto], surface=skin, air=air)


def _usual_lot(question: Question) -> list[Lot]:
    factor = 1.0 if not question.lots else float(median([lot.factor for lot in question.lots]))
    return [Lot(question.resin, factor)]


def _on_the_middle(
    layer: Layer,
    buildup: Buildup | None,
    chosen: list[Lot],
    time: FloatArray,
    *,
    surface: FloatArray,
    air: FloatArray,
) -> Laid:
    """These lots, dosed, on the median of what may come: surface and air (members, n). [UTC s, K]"""
    dose = chosen[0].resin.dose_factor(layer.peroxide_percent)
    dosed = [Lot(each.resin, each.factor * dose) for each in chosen]
    return Laid(layer.started, dosed, buildup, time, median(surface, axis=0), median(air, axis=0))


def _unmeasured(past: Past, started: float, probe: ProbePath | None) -> Silence:
    """What nobody measured since the start: neither its surface, nor the air, nor a probe in it. [UTC s]"""
    heard = past.time[np.isfinite(past.surface_temperature) | np.isfinite(past.air_temperature)]
    inside = np.sort(np.concatenate([heard, [] if probe is None else probe.time]))
    times = np.concatenate([[started], inside[inside > started]])
    gaps = np.diff(times)
    return Silence(float(gaps[gaps > BRIDGED].sum()), float(times[-1]))
