"""What the present says about each possible alert: situation and running layers in, signals out.

Each watcher is a function from values to signals; ``alerts.step`` decides what is raised. Two levels with a
gap between raise and clear a signal, so a value that dances about its limit sounds once. What they say
are phrases: numbers in SI and UTC, worded where somebody reads them.
"""

import math
from collections.abc import Callable, Iterable, Iterator

import numpy as np

from curewatch.advice.alert import pots, recoat
from curewatch.advice.alert.alerts import AlertKind, Key, Signal, State
from curewatch.advice.alert.pots import OpenPot
from curewatch.advice.alert.progress import Progress
from curewatch.advice.alert.recoat import next_layer, obstacle
from curewatch.advice.alert.stages import COOLED
from curewatch.advice.judge import checks
from curewatch.advice.judge.cautions import WITHOUT_FLAME
from curewatch.advice.judge.data_quality import troubles
from curewatch.advice.judge.limits import Limits
from curewatch.advice.judge.situation import Situation, Surfaced, Trouble, TroubleKind
from curewatch.advice.judge.weather import weather
from curewatch.errors import OutOfValidity
from curewatch.model.air.outlook import Outlook
from curewatch.model.air.surface import condensation_margin
from curewatch.model.mass.laminate import BOILING
from curewatch.phrases import Said, phrase
from curewatch.units import HOUR, MINUTE

LOOK = 2 * HOUR  # how far condensation is looked for
MORE_LIKELY, LESS_LIKELY = 0.5, 0.3  # raise above, clear below: shares of paths
BOILS = "boils"  # a layer that heats itself past what the water below stands
HANDS_OFF = (
    "WARNING: a hot layer burns and can smoke. No more plies, nothing over it, heater off, hands off. "
    "If it smokes, leave the shed."
)
GAP = 0.5  # K of margin between raise and clear


def signals(
    situation: Situation,
    running: Iterable[Progress],
    limits: Limits,
    outlook: Outlook | None,
    *,
    active: State,
    listening: bool = False,
    further: Iterable[OpenPot] = (),
    unfollowed: Iterable[str] = (),
    work: Callable[[], str] = str,
) -> tuple[Signal, ...]:
    """Every signal there is now; and the end of those whose layer is no longer running.

    ``listening``: sensors had no time to report yet, so nothing is said that rests on silence alone.
    ``further`` are pots beside those of followed layers; ``unfollowed`` names running layers of which
    nothing can be told: their alerts keep their state. ``work`` names the open jobs and parts.
    """
    layers = tuple(running)
    open_pots = (*(pot for layer in layers if (pot := pots.of_layer(layer)) is not None), *further)
    against = obstacle(situation, limits)
    found = (
        *sensors(situation, limits, active, listening=listening, work=work),
        *condensation(situation, limits, outlook, layers, work),
        *(signal for layer in layers for signal in of_layer(layer, against, active)),
        *pots.pots(open_pots, situation.at),
    )
    known = {layer.layer.layer for layer in layers} | {pot.subject for pot in open_pots} | set(unfollowed)
    return (*found, *_ended(active, known))


def of_layer(layer: Progress, against: Said, active: State) -> Iterator[Signal]:
    """All signals about one running layer; ``against`` is what forbids laminating now."""
    yield peel_ply(layer)
    yield from next_layer(layer, against, active)
    yield stall(layer)
    yield own_heat(layer)
    yield from pots.emptied(layer)
    if layer.probes:
        yield probe(layer)


def peel_ply(layer: Progress) -> Signal:
    """Blush is foreseen, and neither peel ply nor a wash was told."""
    laid = layer.layer
    told = next((each for each in (laid.peel_ply_on, laid.washed, laid.covered) if each is not None), None)
    needed = layer.blush != "none" and told is None
    if layer.stage in {"open", "thickening"}:
        text = "{layer}: blush is likely before it sets. Lay peel ply on the wet layer"
        advised = "Tell it: curewatch job peel-ply --action on. Without peel ply, wash and abrade later."
    else:
        text = "{layer}: blush is likely on its face, and no peel ply was told"
        advised = "Wash with water, then abrade, before the next layer or paint."
    key = Key(AlertKind.PEEL_PLY, laid.layer)
    hold = 30 * MINUTE if told is None else 0.0
    return Signal(key, needed, not needed, phrase(text, layer=laid.named), advised, hold=hold)


def stall(layer: Progress) -> Signal:
    """Too cold to finish: the film turns to glass first."""
    return Signal(
        Key(AlertKind.STALL, layer.layer.layer),
        raised=layer.stalls >= MORE_LIKELY,
        clear=layer.stalls < LESS_LIKELY,
        text=phrase("{layer}: the cold is likely to stop it before it is tack-free", layer=layer.layer.named),
        advised=f"Warm the surface {WITHOUT_FLAME}. It goes on curing once it is warmer.",
        hold=30 * MINUTE,
    )


def own_heat(layer: Progress) -> Signal:
    """It heats itself so far that foam and old laminate suffer, or that the water below boils."""
    hot = layer.own_peak is not None and layer.stage not in COOLED
    return Signal(
        Key(AlertKind.OWN_HEAT, layer.layer.layer),
        raised=hot,
        clear=not hot,
        text=phrase(
            "{layer}: it may heat itself to {peak:temperature}",
            layer=layer.layer.named,
            peak=layer.own_peak or 0.0,
        ),
        advised=HANDS_OFF,
        hold=10 * MINUTE,
        meaning=BOILS if hot and (layer.own_peak or 0.0) > BOILING else "",
    )


def probe(layer: Progress) -> Signal:
    """A thermometer in the layer or in its cup is no longer believed."""
    lost = next(((name, trouble) for name, trouble in layer.probes if trouble), None)
    name, trouble = lost or (layer.probes[0][0], "")
    words = "{layer}: the probe {probe} is not believed ({trouble}); the model goes on"
    return Signal(
        Key(AlertKind.PROBE, layer.layer.layer),
        raised=lost is not None,
        clear=lost is None,
        text=phrase(words, layer=layer.layer.named, probe=name, trouble=trouble)
        if lost
        else phrase("{layer}: its probe follows again", layer=layer.layer.named),
        advised="The times now rest on the model. Nothing else is to be done.",
        hold=0.0,
    )


def sensors(
    situation: Situation,
    limits: Limits,
    active: State,
    *,
    listening: bool = False,
    work: Callable[[], str] = str,
) -> Iterator[Signal]:
    """One signal for each sensor that is lost or cannot be trusted, and its end when it can be or is let go.

    ``work`` names the open jobs and parts: all of them rest on every sensor of the shed.
    """
    doubted = {trouble.sensor: trouble for trouble in troubles(situation, limits)}
    wrong = {_kind(trouble): trouble for trouble in doubted.values()}
    for key, trouble in wrong.items():
        if key.kind is AlertKind.SENSOR_LOST and listening:
            continue
        text = _of_sensor(trouble.sensor, trouble.told, work())
        code = str(trouble.kind).replace(" ", "-")
        yield Signal(key, True, False, text, trouble.remedy, meaning=code)
    named, asked = {"", "air"}, situation.judged
    well = named.union((place.sensor for place in situation.places()), asked or ())
    for key in active:
        if key.kind not in _OF_SENSOR or key in wrong:
            continue
        if key.subject in well | doubted.keys():
            text = _of_sensor(key.subject, "it reports again", work())
            hold = 0.0 if key.subject in doubted else 2 * MINUTE  # at once for another trouble
            yield Signal(key, False, True, text, hold=hold)
        elif asked is not None:
            yield Signal(key, False, True, _of_sensor(key.subject, "it takes no part any more", ""), hold=0.0)


def _of_sensor(sensor: str, said: Said, work: str) -> Said:
    """The work first, then the sensor or the clock, then what is to be said of it."""
    first = "{work}, sensor {sensor}: {said}" if sensor else "{work}, {sensor}: {said}"
    return phrase(first if work else "{sensor}: {said}", work=work, sensor=sensor or "clock", said=said)


_OF_SENSOR = {AlertKind.SENSOR_LOST, AlertKind.SENSOR_DOUBTED}
_LOST = {TroubleKind.NO_READING, TroubleKind.SILENT, TroubleKind.STALE}


def _kind(trouble: Trouble) -> Key:
    lost = trouble.kind in _LOST
    return Key(AlertKind.SENSOR_LOST if lost else AlertKind.SENSOR_DOUBTED, trouble.sensor)


MEASURED = "the surface is only {margin:difference} above the dew point; it needs {limit:difference}"
FORESEEN = (
    "the surface may sweat within {within:duration}; it is {margin:difference} above the dew point and needs "
    "{limit:difference}"
)


def condensation(
    situation: Situation,
    limits: Limits,
    outlook: Outlook | None,
    layers: Iterable[Progress] = (),
    work: Callable[[], str] = str,
) -> Iterator[Signal]:
    """The surface nears the dew point, measured now or likely within the next hours.

    It concerns the layers that are not set; where there is none, the open parts that ``work`` names.
    """
    if not isinstance(situation, Surfaced):
        return
    air, below = situation.air, situation.surface.temperature
    if air is None or air.vapour_pressure is None or below is None:
        return
    errors = checks.sensor_errors(situation)
    error = checks.allowance(limits) * errors.margin
    limit = limits.condensation_margin.value
    now = float(condensation_margin(below, air.vapour_pressure)) - error
    share = 0.0 if outlook is None else _share_wet(outlook, situation.at, limit)
    near, wet = now < limit, _not_set(layers) or work()
    yield Signal(
        Key(AlertKind.CONDENSATION),
        raised=near or share >= MORE_LIKELY,
        clear=now > limit + GAP and share < LESS_LIKELY,
        text=phrase(
            ("{layers}: condensation, " if wet else "condensation: ") + (MEASURED if near else FORESEEN),
            layers=wet,
            margin=math.floor(10.0 * now) / 10.0 if near else now,  # never shown as large as the limit
            within=LOOK,
            limit=limit,
        ),
        advised=f"Mix no more. Cover the work, dry the air, or warm the surface {WITHOUT_FLAME}.",
        meaning="near" if near else "coming",
        hold=10 * MINUTE,
    )


def _not_set(layers: Iterable[Progress]) -> str:
    """The layers that it would harm."""
    return "; ".join(layer.layer.named for layer in layers if not layer.set)


def _share_wet(outlook: Outlook, now: float, limit: float) -> float:
    """Share of paths that come within the limit of the dew point in the next hours."""
    try:
        soon = weather(outlook, now, length=LOOK)
    except OutOfValidity:  # an outlook of other hours
        return 0.0
    return float(np.mean(soon.margin.min(axis=1) < limit))


def next_mark(layers: Iterable[Progress], now: float, *further: float | None) -> float | None:
    """When an alert next changes by the clock alone; None if none does. [UTC s]

    ``further`` marks are those of the daily line and of primers, where there are any. [UTC s]
    """
    marks = (*(mark for layer in layers for mark in _marks(layer)), *further)
    return min((mark for mark in marks if mark is not None and mark > now), default=None)


def _marks(layer: Progress) -> Iterator[float]:
    yield from recoat.marks(layer)
    pot = pots.of_layer(layer)
    if pot is not None and math.isfinite(pot.life):
        yield pot.use_until


def _ended(active: State, known: set[str]) -> Iterator[Signal]:
    """Alerts about layers and pots that are no longer there are over at once."""
    for key, alert in active.items():
        if key.of_layer and key.subject not in known:
            yield Signal(key, False, True, f"{key.subject}: no longer running", due=alert.due, hold=0.0)
