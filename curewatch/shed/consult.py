"""From a configuration to a question: what this shed asks about which resin, by whose limits."""

from contextlib import suppress
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from msgspec.structs import replace

from curewatch.advice.judge.ground import OF_SUBSTRATE, Ground
from curewatch.advice.judge.limits import for_resin
from curewatch.advice.judge.question import Question
from curewatch.configuration import Configuration
from curewatch.errors import CurewatchError
from curewatch.jobs import FaceBelow, Layer
from curewatch.later import Later
from curewatch.logbook import LogbookStore
from curewatch.materials import Resin, load_resin
from curewatch.materials.substrate import Substrate, load_substrate
from curewatch.model.film.lots import lot_below
from curewatch.model.mass.laminate import FIBRE_MASS_FRACTION, LaminateLayer
from curewatch.shed import learnt
from curewatch.shed.known_names import own_limits
from curewatch.units import kilogram_from_gram

if TYPE_CHECKING:
    from curewatch.advice.plan import windows
else:  # who asks for one start needs no others
    windows = Later("curewatch.advice.plan.windows")


def question(
    configuration: Configuration,
    *,
    resin: str | None = None,
    batch_mass: float | None = None,
    peroxide_percent: float | None = None,
    face: str | None = None,
    moisture: float | None = None,
    layers: int = 1,
    logbook: LogbookStore | None = None,
    lot: str | None = None,
    below: tuple[Layer, ...] = (),
    lain: str | None = None,
) -> Question:
    """The question as configured, with what was said on the command line in its place. [kg]

    ``below`` is what it is taken to be laid on and is still warm, unless a face is told; ``lain`` the resin
    of the layer before it, warm or not.

    With a logbook the resin is the one that its lot has shown itself to be; the configured lot
    unless another is named.

    Raises
    ------
    ConfigurationError
        A resin system, substrate or limit that is not known; a configured dose outside the resin's range.
    DoseOutOfRange, OutOfValidity
        A dose of peroxide with which this resin must not be mixed.
    """
    shelf = configuration.resin
    chosen = load_resin(shelf.name if resin is None else resin, shelf.folder)
    if logbook is not None:
        named = lot or (shelf.lot if resin in {None, shelf.name} else None)
        chosen = learnt.told_resin(logbook, chosen, named)
    if peroxide_percent is not None:
        chosen.dose_factor(peroxide_percent)  # refuses it here, even while nothing else is known
    usual = None if shelf.batch_mass_g is None else kilogram_from_gram(shelf.batch_mass_g)
    if peroxide_percent is None and resin in {None, shelf.name}:
        peroxide_percent = chosen.configured_dose(shelf.peroxide_percent, configuration.file)
    return Question(
        resin=chosen,
        limits=for_resin(chosen, own_limits(configuration), configuration.limits.rules),
        substrate=substrate(configuration)
        if face or not below
        else _below(below[-1], substrate(configuration)),
        batch_mass=batch_mass if batch_mass is not None else usual,
        peroxide_percent=peroxide_percent,
        ground=ground(configuration, face, moisture, lain),
        thickness=layers * shelf.film_mm / 1000,
        ply=shelf.film_mm / 1000,
        insulated=configuration.shed.insulated_back,
        below=warm_below(configuration, (chosen, peroxide_percent), () if face else below),
    )


def warm_below(
    configuration: Configuration, mix: tuple[Resin, float | None], below: tuple[Layer, ...]
) -> tuple[LaminateLayer, ...]:
    """What lies under a layer of a resin and dose and is still warm, as heat sees it. [UTC s]

    A layer whose resin is known no more gives no heat: that it cannot be followed is said elsewhere.
    """
    found = []
    for each in below:
        try:
            same = each.resin == mix[0].name
            resin = mix[0] if same else load_resin(each.resin, configuration.resin.folder)
            lot = lot_below(mix, (resin, each.peroxide_percent))
        except CurewatchError:
            continue
        fibre = FIBRE_MASS_FRACTION if each.fibre is None else each.fibre
        found.append(LaminateLayer(each.started, each.thickness, lot, fibre))
    return tuple(found)


def ground(
    configuration: Configuration,
    face: str | None = None,
    moisture: float | None = None,
    lain: str | None = None,
) -> Ground:
    """What lies below: as somebody says it, the layer before it, as configured, or the substrate's. [1]

    ``lain`` is the resin of that layer. One that nobody knows may be epoxy; one with wax has no recoat
    window, so its face is abraded as any old one.
    """
    shed = configuration.shed
    if lain is not None and not face:
        with suppress(CurewatchError):
            laid = load_resin(lain, configuration.resin.folder)
            face = FaceBelow.EPOXY if laid.chemistry.amine else FaceBelow.POLYESTER
            return Ground(face, moisture, own=not laid.surface.wax)
        return Ground(FaceBelow.LAMINATE, moisture)  # of a resin that nobody knows any more
    return Ground(FaceBelow(face or shed.face or OF_SUBSTRATE.get(shed.substrate, FaceBelow.METAL)), moisture)


def substrate(configuration: Configuration) -> Substrate:
    """What is laminated on, as configured."""
    shed = configuration.shed
    return load_substrate(shed.substrate, None if shed.thickness_mm is None else shed.thickness_mm / 1000)


def about(layer: Layer, configuration: Configuration, asked: Question, logbook: LogbookStore) -> Question:
    """The question with the resin that a layer was laid with, as its lot and itself have shown it."""
    shelf = configuration.resin
    usual = layer.resin in {shelf.name, asked.resin.name} and layer.lot == shelf.lot
    resin = load_resin(shelf.name if usual else layer.resin, shelf.folder)
    resin = learnt.told_resin(logbook, resin, layer.lot, layer.layer)
    back = asked.insulated if layer.insulated is None else layer.insulated
    below = _below(layer, asked.substrate)
    asked = replace(asked, thickness=layer.thickness, substrate=below, insulated=back)
    if layer.fibre is not None:
        asked = replace(asked, fibre_mass_fraction=layer.fibre)
    if resin == asked.resin:
        return asked
    limits = for_resin(resin, own_limits(configuration), configuration.limits.rules)
    return replace(asked, resin=resin, limits=limits)


def _below(layer: Layer, usual: Substrate) -> Substrate:
    return load_substrate(layer.substrate, layer.substrate_thickness) if layer.substrate else usual


def working_spans(configuration: Configuration, start: float, end: float) -> "tuple[windows.Span, ...]":
    """When somebody is in the shed between two moments: each working day's hours, in UTC. [s]

    Hours whose end lies before their start run past midnight.
    """
    hours = configuration.working_hours
    days = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    day = datetime.fromtimestamp(start, configuration.zone).date() - timedelta(days=1)
    last = datetime.fromtimestamp(end, configuration.zone).date()
    spans = []
    while day <= last:
        if days[day.weekday()] in hours.days:
            closing = day if hours.start < hours.end else day + timedelta(days=1)
            begin = datetime.combine(day, hours.start, configuration.zone).timestamp()
            ending = datetime.combine(closing, hours.end, configuration.zone).timestamp()
            spans.append(windows.Span(begin, ending))
        day += timedelta(days=1)
    return tuple(span for span in spans if span.end > start and span.start < end)
