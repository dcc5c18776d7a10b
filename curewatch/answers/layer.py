"""The document of `layer`: every running layer, and what will become of it."""

import math
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from curewatch.answers.document import Shape, Utc, code, number, says
from curewatch.answers.parts import FaceBelowDocument, MomentDocument, face_below_part, moment_part
from curewatch.clock import iso_utc
from curewatch.units import celsius_from_kelvin, gram_from_kilogram, percent_from_fraction

if TYPE_CHECKING:
    from curewatch.advice.alert.progress import Progress
    from curewatch.advice.alert.stages import Silence
    from curewatch.jobs import Layer
    from curewatch.phrases import Said
    from curewatch.shed.look import RunningLayer


class LayerProbeDocument(Shape, frozen=True, kw_only=True):
    """A thermometer in the layer or in a cup of its mix."""

    sensor: Annotated[str, says("Its name")]
    text: Annotated[str, says("That it is believed, or why it is not")]
    believed: Annotated[bool, says("Else the times rest on the model")]


class RunningLayerDocument(Shape, frozen=True, kw_only=True):
    """A running layer."""

    layer: Annotated[str, says("Its name: L1")]
    started: Annotated[Utc, says("When it was mixed (ISO 8601, UTC)")]
    resin: Annotated[str, says("Resin system")]
    batch_mass_g: Annotated[float | None, says("Mass of the batch")]
    peroxide_percent: Annotated[float | None, says("By mass of resin; null for an epoxy")]
    peroxide_assumed: Annotated[bool, says("Nobody gave the dose: it is the usual one")]
    lot: Annotated[str | None, says("Lot of the resin")]
    job: Annotated[str | None, says("Job")]
    part: Annotated[str, says("Part of the work, or empty: rudder cheek")]
    face: Annotated[str, says("What it was laid on, or empty: bare-timber, epoxy …")]
    moisture_percent: Annotated[float | None, says("Of that face, by a meter; null if not measured")]
    below: Annotated[FaceBelowDocument | None, says("What that face asks for; null if nobody told it")]
    probes: Annotated[list[LayerProbeDocument], says("Thermometers in it or in its cup")]
    note: Annotated[str, says("Words kept with it")]
    given_afterwards: Annotated[bool, says("The time was told later")]
    stage: Annotated[str | None, says("Where it stands: open, thickening, gelled …; null where unknown")]
    reason: Annotated[str, says("Why that is unknown, or empty")]
    conversion: Annotated[float | None, says("0 to 1; null where unknown")]
    unmeasured_s: Annotated[
        float | None,
        says("Of its time so far, without a reading for over 1 h 15 min; null where nothing is known"),
    ]
    peak_temperature_c: Annotated[
        float | None, says("That its own heat brings it to, once that needs care, above 70; else null")
    ]
    pot_use_until: Annotated[
        Utc | None,
        says("When its pot should be empty; null where it is told empty, does not kick, or nothing is known"),
    ]
    timeline: Annotated[list[MomentDocument], says("When what happens")]


class LayerDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch layer`: every running layer."""

    as_of: Annotated[Utc, says("The moment that this was worked out for (ISO 8601, UTC)")]
    running: Annotated[list[RunningLayerDocument], says("Running layers, oldest first")]


def layer_document(
    running: "Iterable[RunningLayer]", as_of: float, folder: Path | None = None
) -> LayerDocument:
    """Every running layer at a moment [UTC s]; ``folder`` holds the shelf's own resins."""
    return LayerDocument(as_of=iso_utc(as_of), running=[running_layer_part(each, folder) for each in running])


def running_layer_part(running: "RunningLayer", folder: Path | None = None) -> RunningLayerDocument:
    """A running layer, how far it is, and what it lies on."""
    layer, progress = running.layer, running.progress
    return RunningLayerDocument(
        layer=layer.layer,
        started=iso_utc(layer.started),
        resin=layer.resin,
        batch_mass_g=None if layer.batch_mass is None else number(gram_from_kilogram(layer.batch_mass)),
        peroxide_percent=layer.peroxide_percent,
        peroxide_assumed=layer.peroxide_assumed,
        lot=layer.lot,
        job=layer.job,
        part=layer.part,
        face=layer.face,
        moisture_percent=None if layer.moisture is None else number(percent_from_fraction(layer.moisture), 1),
        below=_below(layer, folder),
        probes=[] if progress is None else [_probe(*each) for each in progress.probes],
        note=layer.note,
        given_afterwards=layer.given_afterwards,
        stage=None if progress is None else code(progress.stage),
        reason=running.reason,
        conversion=None if progress is None else number(progress.conversion, 3),
        unmeasured_s=None if progress is None else seconds_unmeasured(progress.unmeasured, progress.at),
        peak_temperature_c=_peak(progress),
        pot_use_until=_pot_use_until(progress),
        timeline=[] if progress is None else [moment_part(moment) for moment in progress.timeline],
    )


def seconds_unmeasured(unmeasured: "Silence", now: float) -> float:
    """As the document says it. [UTC s] -> [s]"""
    return float(round(unmeasured.at(now)))


def _peak(progress: "Progress | None") -> float | None:
    if progress is None or progress.own_peak is None:
        return None
    return number(celsius_from_kelvin(progress.own_peak), 1)


def _pot_use_until(progress: "Progress | None") -> str | None:
    from curewatch.advice.alert.pots import of_layer

    pot = None if progress is None else of_layer(progress)
    return None if pot is None or not math.isfinite(pot.life) else iso_utc(pot.use_until)


def _probe(name: str, trouble: "Said") -> LayerProbeDocument:
    from curewatch.wording import plain_wording

    reason = plain_wording().say(trouble, 0.0)
    text = f"not believed ({reason}): the times rest on the model" if reason else "its temperature is used"
    return LayerProbeDocument(sensor=name, text=text, believed=not reason)


def _below(layer: "Layer", folder: Path | None) -> FaceBelowDocument | None:
    from curewatch.advice.judge.ground import Ground, known_checks
    from curewatch.errors import CurewatchError
    from curewatch.jobs import FaceBelow
    from curewatch.materials import load_resin

    if not layer.face:
        return None
    try:
        resin = load_resin(layer.resin, folder)
    except CurewatchError:  # its file is gone; what it was laid on still stands
        return None
    return face_below_part(known_checks(resin, Ground(FaceBelow(layer.face), layer.moisture, layer.face_own)))
