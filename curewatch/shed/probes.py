"""The thermometers in a running layer and in a cup of its mix: read, believed or not, learnt from at once."""

from typing import NamedTuple

import numpy as np
from msgspec.structs import replace

from curewatch.advice.alert.probe import ProbePath, Surroundings, believed
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Situation, Surfaced
from curewatch.errors import OutOfValidity
from curewatch.jobs import Layer
from curewatch.logbook import LogbookStore
from curewatch.materials.resin import Resin
from curewatch.model.film.ensemble_steps import Heat
from curewatch.model.film.film import History
from curewatch.model.fit import learning
from curewatch.model.fit.evidence import CUP, Evidence, cup_evidence
from curewatch.model.fit.rise import taught_by_rise
from curewatch.model.mass.pot import body
from curewatch.readings import Flag
from curewatch.shed import learnt
from curewatch.units import MINUTE, FloatArray

FEWEST = 10 * MINUTE  # s of readings before a layer's warmth says anything
GRID = 5 * MINUTE


class Probes(NamedTuple):
    """What is believed of both; none where none is bound."""

    layer: ProbePath | None
    cup: ProbePath | None


def of_layer(logbook: LogbookStore, layer: Layer, situation: Situation) -> Probes:
    """The probe in the layer and that in its cup, each as far as it is believed."""
    return Probes(*(_path(logbook, name, layer, situation) for name in (layer.probe, layer.cup)))


def _path(logbook: LogbookStore, name: str, layer: Layer, situation: Situation) -> ProbePath | None:
    if not name:
        return None
    past = situation.past
    around = Surroundings(past.time, past.air_temperature, past.surface_temperature)
    series = logbook.series(name, layer.started, situation.at).dated()
    usable = ((series.flags & Flag.CLOCK_DOUBT) == 0) & np.isfinite(series.temperature)
    return believed(name, series.time[usable], series.temperature[usable], situation.at, around)


def taught(
    logbook: LogbookStore, question: Question, layer: Layer, situation: Surfaced, seen: Probes
) -> Question:
    """The question with the lot's rate as both thermometers show it so far."""
    resin = question.resin
    if seen.cup is not None:
        resin = _by_cup(logbook, resin, layer, situation, seen.cup)
    if seen.layer is not None:
        resin = _by_layer(resin, question, layer, situation, seen.layer)
    return question if resin is question.resin else replace(question, resin=resin)


def _by_cup(logbook: LogbookStore, resin: Resin, layer: Layer, situation: Surfaced, cup: ProbePath) -> Resin:
    """By when it had risen so far; what somebody told of that cup already is not counted twice."""
    mass = layer.cup_mass or layer.batch_mass
    told = any(
        each.observed == CUP and each.layer == layer.layer
        for _, each in learnt.observations(logbook, resin.name, layer.lot)
    )
    if mass is None or told or cup.time.size < 2:
        return resin
    history = _from_mixing(layer, cup.time, cup.temperature)
    around = learnt.air_history(layer, float(cup.time[-1]), situation)
    if around is not None:
        history = learnt.in_air_that_stays(history, around, 1.0 / body(resin, mass).loss)
    try:
        seen: Evidence = cup_evidence(history, mass, layer.peroxide_percent)
    except OutOfValidity:  # it has not risen enough yet
        return resin
    return learning.current_resin(resin, [seen._replace(layer=layer.layer)], layer.layer)


def _by_layer(resin: Resin, question: Question, layer: Layer, situation: Surfaced, probe: ProbePath) -> Resin:
    """By how much warmer it is than the place without it; what is warm below it counts, too."""
    if probe.time.size < 3 or probe.time[-1] - layer.started < FEWEST:
        return resin
    buildup = question.buildup_at(layer.started)
    earlier = -min((ply.at for ply in buildup.before), default=0.0)
    reaching = replace(layer, started=layer.started - earlier)
    path = learnt.history(reaching, float(probe.time[-1]), situation, question.substrate)
    at: FloatArray = np.arange(GRID, probe.time[-1] - layer.started, GRID)
    at = at[layer.started + at >= probe.time[0]]  # before that nobody knows how warm it was
    if path is None or not at.size:
        return resin
    dosed = resin.dosed(layer.peroxide_percent) if layer.peroxide_percent is not None else resin
    measured = np.interp(layer.started + at, probe.time, probe.temperature)
    excess = measured - np.interp(earlier + at, path.time, path.temperature)
    try:
        shown = taught_by_rise(dosed, path, at, excess, Heat(buildup))
    except OutOfValidity:
        return resin
    if shown is dosed:
        return resin
    factor = shown.kinetics.k2 / dosed.kinetics.k2
    return replace(
        resin, kinetics=resin.kinetics.faster(factor), rate_sd=shown.rate_sd, origins=shown.origins
    )


def _from_mixing(layer: Layer, time: FloatArray, temperature: FloatArray) -> History:
    """A thermometer's path from mixing on; before its first reading it was as warm as then. [s, K]"""
    since = time - layer.started
    kept = since > 0.0
    return History(np.concatenate(([0.0], since[kept])), np.concatenate((temperature[:1], temperature[kept])))
