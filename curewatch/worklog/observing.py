"""What somebody saw of a layer or a test cup, as evidence and as an entry; the model learns from it."""

from typing import NamedTuple, Protocol

from msgspec import Struct

from curewatch.configuration import Configuration
from curewatch.errors import OutOfValidity, UsageError
from curewatch.jobs import Layer
from curewatch.logbook import Entry, EntryKind, LogbookStore
from curewatch.materials import Resin, load_resin
from curewatch.model.film.film import History, constant
from curewatch.model.fit.evidence import CupLog, Evidence, as_plain, cup_evidence, remembered
from curewatch.model.fit.learning import Lesson
from curewatch.model.mass.pot import body
from curewatch.shed import layer_log, learnt, probes
from curewatch.shed.look import Look
from curewatch.wording import Wording

OBSERVED = ("kicked", "gelled", "tack-free", "firm")


class TellingPlace(Protocol):
    """Where and when something is told."""

    @property
    def logbook(self) -> LogbookStore: ...
    @property
    def configuration(self) -> Configuration: ...
    @property
    def words(self) -> Wording: ...
    @property
    def now(self) -> float:
        """When it is told, UTC. [s]"""

    @property
    def happened(self) -> float:
        """When it happened, UTC. [s]"""


class Sighting(Struct, frozen=True):
    """What was seen; of a layer, or of a cup with a thermometer in it."""

    observed: str | None  # one of OBSERVED; none for a cup
    layer: Layer | None
    cup: CupLog | None = None
    mass: float | None = None  # in pot or cup; as laid where none is given [kg]
    temperature: float | None = None  # where nothing was measured [K]


class Learning(NamedTuple):
    """What it would teach, before anything is written."""

    sighting: Sighting
    resin: Resin
    named: str  # how the resin was called: a name, or a file
    lot: str | None
    evidence: Evidence
    lesson: Lesson

    @property
    def what(self) -> str:
        layer = self.sighting.layer
        return f"{layer.layer} {self.evidence.observed}" if layer else self.evidence.observed


def running_layer(
    logbook: LogbookStore, now: float, named: str | None, *, for_cup: bool = False
) -> Layer | None:
    """The layer that is meant: the named one, or the only one; none for a cup where that is not clear.

    Raises
    ------
    UsageError
        None of this name is running, or it is not clear which is meant.
    """
    running = {each.layer: each for each in layer_log.running(logbook, now)}
    if named is not None:
        if named.upper() not in running:
            there = f"running: {', '.join(running)}" if running else "none is running"
            raise UsageError(f"--layer: found no running layer {named!r}; {there}")
        return running[named.upper()]
    if len(running) == 1:
        return next(iter(running.values()))
    if for_cup:
        return None
    if not running:
        raise UsageError(
            "the layer: found none running. Use `curewatch layer --at 14:30` to say that one was begun"
        )
    raise UsageError(f"the layer: found several running. Use --layer, one of {', '.join(running)}")


def learning(place: TellingPlace, sighting: Sighting) -> Learning:
    """What the model would learn from it.

    Raises
    ------
    UsageError, OutOfValidity
        Its time, its mass or its temperatures are missing, or it says nothing of this resin.
    """
    layer, shelf = sighting.layer, place.configuration.resin
    named = layer.resin if layer else shelf.name
    resin = load_resin(named, shelf.folder)
    lot = layer.lot if layer else shelf.lot
    found = evidence(place, sighting)
    return Learning(sighting, resin, named, lot, found, learnt.lesson_of(place.logbook, resin, lot, found))


def entry(place: TellingPlace, learning: Learning, job: str | None, by: str | None) -> Entry:
    """The observation as it is stored."""
    layer, lesson = learning.sighting.layer, learning.lesson
    payload = {
        **as_plain(learning.evidence),
        "memory": remembered(lesson.memory),
        "layer": layer.layer if layer else "",
        "at": place.happened,
        "resin": learning.resin.name,
        "resin_asked": learning.named,
        "lot": learning.lot,
        "version": lesson.after.version,
        "parent": lesson.after.parent,
        "rate_factor": round(lesson.factor, 5),
    }
    return Entry(EntryKind.OBSERVATION, payload | ({"by": by} if by else {}), place.happened, job=job)


def evidence(place: TellingPlace, sighting: Sighting) -> Evidence:
    """What was seen, with the temperatures that it went through."""
    layer, usual = sighting.layer, place.configuration.resin
    usual_mass = layer.batch_mass if layer else usual.batch_mass_g and usual.batch_mass_g / 1000.0
    mass = sighting.mass or usual_mass
    dose = layer.peroxide_percent if layer else usual.peroxide_percent
    if (sighting.cup is not None or sighting.observed == "kicked") and mass is None:
        raise UsageError("--mass: found none. Use the mass in the pot or cup: --mass 100 g")
    if sighting.cup is not None:
        return _of_cup(place, sighting, sighting.cup, float(mass or 0.0), dose)
    assert layer is not None
    assert sighting.observed is not None
    elapsed = place.happened - layer.started
    if elapsed < learnt.APART:
        began = place.words.moment(layer.started, place.now)
        raise UsageError(f"{layer.layer} was mixed {began}; what you saw of it must be later")
    path = _path(place, sighting, layer)
    return Evidence(sighting.observed, elapsed, path, mass, dose, layer=layer.layer)


def _of_cup(
    place: TellingPlace, sighting: Sighting, log: CupLog, mass: float, dose: float | None
) -> Evidence:
    """By how much it had risen by its own heat, and when."""
    shelf = place.configuration.resin
    resin = load_resin(sighting.layer.resin if sighting.layer else shelf.name, shelf.folder)
    air = log.air or _air_of_cup(place, sighting, log)
    own = learnt.in_air_that_stays(log.history, air, 1.0 / body(resin, mass).loss)
    try:
        return cup_evidence(own, mass, dose)
    except OutOfValidity:
        if own.time.size == log.history.time.size:
            raise
        raise UsageError(
            "--cup: its air moved it by 1 K before it had risen by 5 K. It says nothing of the lot; "
            "use a cup as warm as air that stays"
        ) from None


def _air_of_cup(place: TellingPlace, sighting: Sighting, log: CupLog) -> History:
    """The air around a cup whose log does not tell it: as said, else as the shed's sensors had it then."""
    lasted = float(log.history.time[-1])
    if sighting.temperature is not None:
        return constant(sighting.temperature, lasted)
    began = sighting.layer.started if log.began is None and sighting.layer else log.began
    if began is not None:
        past = Look(place.logbook, place.configuration, began + lasted).situation.past
        found = learnt.along(began, began + lasted, past.time, past.air_temperature)
        if found is not None:
            return found
    raise UsageError(
        "--cup: found nothing of the air around it, which may have warmed it. "
        "Use a column air_c, or --temperature where the air stayed the same"
    )


def _path(place: TellingPlace, sighting: Sighting, layer: Layer) -> History:
    """The temperatures that the layer went through: as told, or as recorded."""
    if sighting.temperature is not None:
        return constant(sighting.temperature, place.happened - layer.started)
    look = Look(place.logbook, place.configuration, place.now)
    situation = look.situation
    if sighting.observed == "kicked":
        found = learnt.air_history(layer, place.happened, situation)
    else:
        probe = probes.of_layer(place.logbook, layer, situation).layer
        seen = probe.measured if probe is not None and probe.time.size else None
        found = learnt.own_history(layer, place.happened, situation, look.about(layer), seen)
    if found is None:
        began, observed = (place.words.moment(each, place.now) for each in (layer.started, place.happened))
        raise UsageError(
            f"the temperature: found none recorded from {began} to {observed}. "
            "Use --temperature, the usual one then"
        )
    return found
