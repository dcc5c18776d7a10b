"""A layer in progress: what it went through so far, as recorded, and what the coming hours make of it.

*Theory of operation.* The recorded past since the start is one path; the outlook continues it as many.
The film is followed along each joined path by the same course as any start (``advice.course``), so the
countdowns of a running layer and the forecast of a planned one can never disagree in method. The lot's
uncertainty spreads the paths also over the recorded part.

A stretch of the past that nobody measured is bridged in a straight line and said so: ``unmeasured``.
"""

from dataclasses import dataclass

import numpy as np

from curewatch.advice.judge import checks
from curewatch.advice.judge.answer import Moment
from curewatch.advice.judge.course import course
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.advice.judge.timeline import timeline
from curewatch.advice.judge.weather import STEP, Weather, along, dressed
from curewatch.jobs import Layer
from curewatch.materials.resin import Resin
from curewatch.materials.substrate import Substrate
from curewatch.model.air import surface
from curewatch.model.air.outlook import Outlook
from curewatch.model.air.past import Past
from curewatch.model.film import blush, film
from curewatch.model.mass.pot import Pot, pot
from curewatch.units import HOUR, FloatArray

STAGES = ("open", "thickening", "takes the next layer", "gelled", "tack-free", "firm", "ready to sand")
BRIDGED = HOUR  # s without a measurement before a stretch counts as unmeasured (assumed)


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a layer stands at ``at``, and what comes."""

    layer: Layer
    resin: Resin
    at: float  # UTC [s]
    stage: str  # one of STAGES, on the likely path
    conversion: float  # on the path of the usual lot [1]
    glass_transition: float  # [K]
    timeline: tuple[Moment, ...]
    blush: str  # foreseen outcome: none | peel ply | wash and abrade
    stalls: float  # share of paths that turn to glass before they set [1]
    wet: float  # share of paths whose surface comes within the margin of the dew point until set [1]
    unmeasured: float  # of its time so far that nobody measured [s]
    pot: Pot | None = None  # the batch it was laid from, were it still in its cup

    def moment(self, name: str) -> Moment:
        """The moment of this name; a ``KeyError`` if there is none."""
        for moment in self.timeline:
            if moment.name == name:
                return moment
        raise KeyError(name)

    @property
    def set(self) -> bool:
        """Past harm by dew, on the likely path."""
        return self.stage in STAGES[4:]


def follow(layer: Layer, question: Question, situation: Surfaced, outlook: Outlook) -> Progress:
    """Follow one running layer to now and beyond.

    Parameters
    ----------
    question : Question
        With the resin system the layer was laid with.
    situation : Surfaced
        With its past since the layer was started, where it was recorded.
    outlook : Outlook
        From now on.

    Raises
    ------
    OutOfValidity
        The paths leave the range of the cure law, or a dose is refused.
    """
    resin, limits = question.resin, question.limits
    joined = _joined(layer.started, situation, question.substrate, outlook)
    seen = course(
        resin,
        joined,
        np.zeros(1, dtype=np.int64),
        chosen=question.lots,
        peroxide_percent=layer.peroxide_percent,
        carbon_dioxide=situation.carbon_dioxide,
        rest=0.0,  # a layer's clock runs from when it lay
    )
    moments = timeline(seen, resin, layer.thickness)
    so_far = _so_far(layer, situation.at, question, joined)
    margins = seen.lowest_margin[0] - limits.error_multiple.value * checks.sensor_errors(situation).margin
    exposure = float(checks.blush_check(seen, resin, limits).value or 0.0)
    return Progress(
        layer=layer,
        resin=resin,
        at=situation.at,
        stage=_stage(moments, situation.at),
        conversion=float(so_far.conversion[-1]),
        glass_transition=float(so_far.glass_transition[-1]),
        timeline=moments,
        blush=blush.outcome(resin, exposure),
        stalls=float(np.mean(seen.glassy[0])),
        wet=float(np.mean(margins < limits.condensation_margin.value)),
        unmeasured=_unmeasured(situation.past, layer.started, situation.at),
        pot=_pot(layer, resin, joined),
    )


def _pot(layer: Layer, resin: Resin, joined: Weather) -> Pot | None:
    """The batch in one cup, at the air of its start."""
    if layer.batch_mass is None or layer.pot_emptied is not None:
        return None
    air = float(joined.air_temperature[0, 0])
    return pot(resin, layer.batch_mass, air, peroxide_percent=layer.peroxide_percent)


def _stage(moments: tuple[Moment, ...], now: float) -> str:
    """The last stage whose likely moment has come."""
    likely = {moment.name: moment.likely for moment in moments}
    stage = STAGES[0]
    marks = ("working-time", "laminate-from", "gel", "tack-free", "firm", "ready-to-sand")
    for name, reached in zip(marks, STAGES[1:], strict=True):
        when = likely[name]
        if when is not None and when <= now:
            stage = reached
    return stage


def _so_far(layer: Layer, now: float, question: Question, joined: Weather) -> film.Cure:
    """The cure up to now along the recorded path, for the middle of the lot."""
    elapsed = max(now - layer.started, 60.0)
    time = np.append(np.arange(0.0, elapsed, STEP), elapsed)
    skin = np.interp(layer.started + time, joined.time, joined.surface_temperature[0])
    middle = 1.0 if not question.lots else float(np.median([lot.factor for lot in question.lots]))
    history = film.History(time, skin)
    return film.cure(question.resin, history, rate_factor=middle, peroxide_percent=layer.peroxide_percent)


def _joined(started: float, situation: Surfaced, substrate: Substrate, outlook: Outlook) -> Weather:
    """Recorded past and coming paths on one grid that begins at the start."""
    time: FloatArray = started + STEP * np.arange(
        int((outlook.time[-1] - started) / STEP) + 1, dtype=np.float64
    )
    before, after = time[time < outlook.time[0]], time[time >= outlook.time[0]]
    members = outlook.air_temperature.shape[0]
    columns = []
    past = situation.past
    skin = surface.through(past.time, past.air_temperature, past.surface_temperature, substrate)
    recorded = (past.air_temperature, skin, past.vapour_pressure)
    coming = (outlook.air_temperature, outlook.surface_temperature, outlook.vapour_pressure)
    for column, paths in zip(recorded, coming, strict=True):
        now = float(np.median(paths[:, 0]))
        known = np.isfinite(column)
        moments = np.append(past.time[known], outlook.time[0])
        values = np.append(column[known], now)
        earlier = np.interp(before, moments, values)
        columns.append(
            np.concatenate(
                [np.broadcast_to(earlier, (members, before.size)), along(outlook.time, paths, after)], axis=1
            )
        )
    return dressed(time, *columns)


def _unmeasured(past: Past, started: float, now: float) -> float:
    """Time since the start in stretches longer than :data:`BRIDGED` without a surface or air reading. [s]"""
    heard = np.isfinite(past.surface_temperature) | np.isfinite(past.air_temperature)
    inside = heard & (past.time > started) & (past.time < now)
    gaps = np.diff(np.concatenate([[started], past.time[inside], [now]]))
    return float(gaps[gaps > BRIDGED].sum())
