"""From a configuration to a question: what this shed asks about which resin, by whose limits."""

from dataclasses import replace
from datetime import datetime, timedelta

from curewatch.advice.judge.limits import for_resin
from curewatch.advice.judge.question import Question
from curewatch.advice.plan.windows import Span
from curewatch.configuration import Configuration
from curewatch.jobs import Layer
from curewatch.logbook import LogbookStore
from curewatch.materials import load_resin
from curewatch.materials.substrate import Substrate, load_substrate
from curewatch.shed import learnt
from curewatch.shed.known_names import own_limits
from curewatch.units import kilogram_from_gram


def question(
    configuration: Configuration,
    *,
    resin: str | None = None,
    batch_mass: float | None = None,
    peroxide_percent: float | None = None,
    logbook: LogbookStore | None = None,
    lot: str | None = None,
) -> Question:
    """The question as configured, with what was said on the command line in its place. [kg]

    With a logbook the resin is the one that its lot has shown itself to be; the configured lot
    unless another is named.

    Raises
    ------
    ConfigurationError
        A resin system, substrate or limit that is not known.
    DoseOutOfRange, OutOfValidity
        A dose of peroxide with which this resin must not be mixed.
    """
    shelf = configuration.resin
    chosen = load_resin(shelf.name if resin is None else resin, shelf.folder)
    if logbook is not None:
        named = lot or (shelf.lot if resin in {None, shelf.name} else None)
        chosen = learnt.resin_of_lot(logbook, chosen, named)
    if peroxide_percent is not None:
        chosen.dose_factor(peroxide_percent)  # refuses it here, even while nothing else is known
    usual = None if shelf.batch_mass_g is None else kilogram_from_gram(shelf.batch_mass_g)
    dose = shelf.peroxide_percent if chosen.dose is not None else None
    return Question(
        resin=chosen,
        limits=for_resin(chosen, own_limits(configuration), configuration.limits.rules),
        substrate=substrate(configuration),
        batch_mass=batch_mass if batch_mass is not None else usual,
        peroxide_percent=peroxide_percent if peroxide_percent is not None else dose,
    )


def substrate(configuration: Configuration) -> Substrate:
    """What is laminated on, as configured."""
    shed = configuration.shed
    return load_substrate(shed.substrate, None if shed.thickness_mm is None else shed.thickness_mm / 1000)


def about(layer: Layer, configuration: Configuration, asked: Question, logbook: LogbookStore) -> Question:
    """The question with the resin that a layer was laid with, as its lot and itself have shown it."""
    shelf = configuration.resin
    usual = layer.resin in {shelf.name, asked.resin.name} and layer.lot == shelf.lot
    resin = load_resin(shelf.name if usual else layer.resin, shelf.folder)
    resin = learnt.resin_of_lot(logbook, resin, layer.lot, layer.layer)
    if resin == asked.resin:
        return asked
    limits = for_resin(resin, own_limits(configuration), configuration.limits.rules)
    return replace(asked, resin=resin, limits=limits)


def working_spans(configuration: Configuration, start: float, end: float) -> tuple[Span, ...]:
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
            spans.append(Span(begin, datetime.combine(closing, hours.end, configuration.zone).timestamp()))
        day += timedelta(days=1)
    return tuple(span for span in spans if span.end > start and span.start < end)
