"""The document of `layer`: every running layer, and what will become of it."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

from curewatch.answers.document import Shape, Utc, code, number, says
from curewatch.answers.parts import MomentDocument, moment_part
from curewatch.clock import iso_utc
from curewatch.units import gram_from_kilogram

if TYPE_CHECKING:
    from curewatch.shed.look import RunningLayer


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
    note: Annotated[str, says("Words kept with it")]
    given_afterwards: Annotated[bool, says("The time was told later")]
    stage: Annotated[str | None, says("Where it stands: open, thickening, gelled …; null where unknown")]
    reason: Annotated[str, says("Why that is unknown, or empty")]
    conversion: Annotated[float | None, says("0 to 1; null where unknown")]
    timeline: Annotated[list[MomentDocument], says("When what happens")]


class LayerDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch layer`: every running layer."""

    running: Annotated[list[RunningLayerDocument], says("Running layers, oldest first")]


def layer_document(running: "Iterable[RunningLayer]") -> LayerDocument:
    return LayerDocument(running=[running_layer_part(each) for each in running])


def running_layer_part(running: "RunningLayer") -> RunningLayerDocument:
    """A running layer, and how far it is."""
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
        note=layer.note,
        given_afterwards=layer.given_afterwards,
        stage=None if progress is None else code(progress.stage),
        reason=running.reason,
        conversion=None if progress is None else number(progress.conversion, 3),
        timeline=[] if progress is None else [moment_part(moment) for moment in progress.timeline],
    )
