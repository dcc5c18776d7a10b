"""What the present says about each possible alert: situation and running layers in, signals out.

Each watcher is a function from values to signals; ``alerts.step`` decides what is raised. Two levels with a
gap between raise and clear a signal, so a value that dances about its limit sounds once. What they say
are phrases: numbers in SI and UTC, worded where somebody reads them.
"""

from collections.abc import Iterable, Iterator

import numpy as np

from curewatch.advice.alert.alerts import AlertKind, Key, Signal, State
from curewatch.advice.alert.progress import Progress
from curewatch.advice.judge import checks
from curewatch.advice.judge.cautions import WITHOUT_FLAME
from curewatch.advice.judge.data_quality import troubles
from curewatch.advice.judge.limits import Limits
from curewatch.advice.judge.situation import Situation, Surfaced
from curewatch.model.air.outlook import Outlook
from curewatch.model.air.surface import condensation_margin
from curewatch.model.film.recoat_window import closes_earlier
from curewatch.phrases import Phrase, Said, phrase
from curewatch.units import HOUR, MINUTE

AHEAD = (60 * MINUTE, 30 * MINUTE, 10 * MINUTE)  # a countdown sounds at these
LOOK = 2 * HOUR  # how far condensation is looked for
MORE_LIKELY, LESS_LIKELY = 0.5, 0.3  # raise above, clear below: shares of paths
GAP = 0.5  # K of margin between raise and clear
POT_ADVICE = (
    "WARNING: a hot pot burns and can smoke. Stop using it; what is on the job stays. Tip the rest out thin "
    "in a metal tray outdoors, uncovered, on something that cannot burn. If it smokes, do not carry it: "
    "leave the shed. Is it empty? Then: curewatch job pot-empty --layer {layer}"
)
POT_SHARE = 0.75  # of its life after which a pot should be empty


def signals(
    situation: Situation,
    running: Iterable[Progress],
    limits: Limits,
    outlook: Outlook | None,
    *,
    active: State,
) -> tuple[Signal, ...]:
    """Every signal there is now; and the end of those whose layer is no longer running."""
    layers = tuple(running)
    against = obstacle(situation, limits)
    found = (
        *sensors(situation, limits, active),
        *condensation(situation, limits, outlook),
        *(signal for layer in layers for signal in of_layer(layer, against)),
    )
    return (*found, *_ended(active, layers))


def of_layer(layer: Progress, against: Said = "") -> Iterator[Signal]:
    """All signals about one running layer; ``against`` is what forbids laminating now."""
    yield peel_ply(layer)
    yield from next_layer(layer, against)
    yield stall(layer)
    yield from pot(layer)


def peel_ply(layer: Progress) -> Signal:
    """Blush foreseen while peel ply can still be laid; afterwards the same, as wash and abrade."""
    needed = layer.blush != "none"
    if layer.stage in {"open", "thickening"}:
        text = f"peel-ply needed on {layer.layer.layer}: amine blush is foreseen"
        advised = "lay peel ply on the wet layer, or plan to wash with water and abrade"
    else:
        text = f"{layer.layer.layer}: amine blush on its face unless peel ply was laid"
        advised = "tear the peel ply off and abrade; without it wash with water, then abrade"
    key = Key(AlertKind.PEEL_PLY, layer.layer.layer)
    return Signal(key, needed, not needed, text, advised, hold=30 * MINUTE)


def obstacle(situation: Situation, limits: Limits) -> Said:
    """What forbids laminating at this moment, in a few words; empty if nothing measured does.

    An open recoat window is no leave to laminate: the same lines as for a start hold for the next layer.
    """
    if troubles(situation, limits):
        return "its readings cannot be trusted"
    air, seen = situation.air, situation if isinstance(situation, Surfaced) else None
    if seen is None or air is None or air.temperature is None or air.relative_humidity is None:
        return "nothing is known of its air"
    errors, k = checks.sensor_errors(seen), limits.error_multiple.value
    margin = checks.condensation_now(seen, limits, errors)
    if margin is not None and margin.value is not None and (margin.spare or 0.0) < 0.0:
        return phrase("surface {margin:difference} above dew point", margin=margin.value)
    below = seen.surface.temperature
    surface_now = air.temperature if below is None else below
    if min(air.temperature, surface_now) - k * errors.temperature < limits.temperature_lowest.value:
        return "too cold"
    if air.relative_humidity + k * errors.humidity > limits.humidity_highest.value:
        return phrase("air at {humidity:fraction} humidity", humidity=air.relative_humidity)
    return ""


def _lay_now(layer: Progress) -> str:
    """What to do before the window closes; that of a thick layer may close earlier."""
    sooner = closes_earlier(layer.layer.thickness)
    return "lay the next layer now, or let it cure and abrade later" + (f" ({sooner})" if sooner else "")


def _how(layer: Progress, against: Said, free: str) -> Said:
    """What to do about an open window: not at all now, after cleaning, or simply."""
    if against:
        return phrase(
            "the window is open, but the shed is no-go now ({against}): warm or dry it first, "
            "or leave peel ply on and abrade later",
            against=against,
        )
    if layer.blush != "none":
        return "blush is foreseen: tear the peel ply off, or wash with water and abrade, first"
    return free


def next_layer(layer: Progress, against: Said = "") -> Iterator[Signal]:
    """When the next layer may go on, when it must, and that it is too late."""
    name = layer.layer.layer
    opens, closes = layer.moment("laminate-from"), layer.moment("laminate-before")
    deadline, last = closes.early, closes.likely
    missed = last is not None and layer.at > last
    open_now = opens.likely is not None and layer.at >= opens.likely and not missed
    yield Signal(
        Key(AlertKind.LAMINATE_FROM, name),
        raised=open_now,
        clear=not open_now,
        text=_open_from(name, opens.likely or layer.at, deadline),
        advised=_how(layer, against, "the next layer bonds chemically now; no sanding needed"),
        due=deadline,
        hold=0.0 if missed else 10 * MINUTE,
    )
    if deadline is not None and last is not None:
        left = deadline - layer.at
        urgency = sum(left <= ahead for ahead in AHEAD)
        yield Signal(
            Key(AlertKind.LAMINATE_BEFORE, name),
            raised=urgency > 0 and not missed,
            clear=urgency == 0 or missed,
            text=phrase(
                "laminate again before {before:moment} on {layer} (likely open until {until:moment})",
                before=deadline,
                layer=name,
                until=last,
            ),
            advised=_how(layer, against, _lay_now(layer)),
            due=deadline,
            urgency=urgency,
            hold=0.0 if missed else 10 * MINUTE,
        )
    closed = "unknown" if last is None else phrase("{until:moment}", until=last)
    yield Signal(
        Key(AlertKind.WINDOW_MISSED, name),
        raised=missed,
        clear=not missed,
        text=phrase("window missed on {layer}: it closed about {closed}", layer=name, closed=closed),
        advised="wear a P3 filter and gloves; let it cure until it is ready to sand, "
        + ("wash with water, " if layer.resin.blush.amine_factor else "")
        + "abrade to dull all over; the bond is then mechanical",
        hold=30 * MINUTE,
    )


def _open_from(name: str, opens: float, deadline: float | None) -> Phrase:
    words = "laminate again on {layer} from {opens:moment}"
    if deadline is None:
        return phrase(words, layer=name, opens=opens)
    return phrase(words + ", before {before:moment}", layer=name, opens=opens, before=deadline)


def stall(layer: Progress) -> Signal:
    """Too cold to finish: the film turns to glass first."""
    return Signal(
        Key(AlertKind.STALL, layer.layer.layer),
        raised=layer.stalls >= MORE_LIKELY,
        clear=layer.stalls < LESS_LIKELY,
        text=phrase(
            "{layer} stalls: too cold to become tack-free on {share:fraction} of paths",
            layer=layer.layer.layer,
            share=layer.stalls,
        ),
        advised=f"warm the surface {WITHOUT_FLAME}; a stalled film goes on curing once it is warmer",
        hold=30 * MINUTE,
    )


def pot(layer: Progress) -> Iterator[Signal]:
    """The mixed batch approaches the end of its life in the pot."""
    batch, key = layer.pot, Key(AlertKind.POT, layer.layer.layer)
    if layer.layer.pot_emptied is not None:
        yield Signal(key, False, True, f"the pot of {key.subject} is empty", hold=0.0)
        return
    if batch is None:
        return
    kicks = layer.layer.started + batch.pot_life
    use_until = layer.layer.started + POT_SHARE * batch.pot_life
    over = layer.at > kicks + 30 * MINUTE
    verb = "kicks" if layer.at < kicks else "kicked"
    yield Signal(
        key,
        raised=layer.at >= use_until and not over,
        clear=layer.at < use_until or over,
        text=phrase(
            f"pot warming: the batch of {{layer}} {verb} about {{kicks:moment}}",
            layer=layer.layer.layer,
            kicks=kicks,
        ),
        advised=POT_ADVICE.format(layer=key.subject),
        due=kicks,
        hold=0.0,
    )


def sensors(situation: Situation, limits: Limits, active: State) -> Iterator[Signal]:
    """One signal for each sensor that cannot be trusted, and its end when it can."""
    doubted = {trouble.sensor: trouble for trouble in troubles(situation, limits)}
    for name, trouble in doubted.items():
        text = phrase("{sensor}: {reason}", sensor=name or "clock", reason=trouble.told)
        yield Signal(Key(AlertKind.SENSOR, name), True, False, text, trouble.remedy)
    alive = {place.sensor for place in situation.places()}
    told = {key.subject for key in active if key.kind is AlertKind.SENSOR}
    for name in sorted((told | alive) - set(doubted)):
        if name in alive or name in {"", "air"}:
            yield Signal(
                Key(AlertKind.SENSOR, name), False, True, f"{name or 'clock'}: heard again", hold=2 * MINUTE
            )


MEASURED = (
    "condensation coming: surface {margin:difference} above dew point, less {error:difference} sensor error; "
    "limit {limit:difference} ({origin})"
)
FORESEEN = (
    "condensation coming: within {within:duration} {share:fraction} of paths pass the limit of "
    "{limit:difference} ({origin}); surface now {margin:difference} above dew point"
)


def condensation(situation: Situation, limits: Limits, outlook: Outlook | None) -> Iterator[Signal]:
    """The surface nears the dew point, measured now or likely within the next hours."""
    if not isinstance(situation, Surfaced):
        return
    air, below = situation.air, situation.surface.temperature
    if air is None or air.vapour_pressure is None or below is None:
        return
    errors = checks.sensor_errors(situation)
    error = limits.error_multiple.value * errors.margin
    limit = limits.condensation_margin.value
    now = float(condensation_margin(below, air.vapour_pressure)) - error
    share = 0.0 if outlook is None else _share_wet(outlook, situation.at, limit, error)
    yield Signal(
        Key(AlertKind.CONDENSATION),
        raised=now < limit or share >= MORE_LIKELY,
        clear=now > limit + GAP and share < LESS_LIKELY,
        text=phrase(
            MEASURED if now < limit else FORESEEN,
            margin=now + error,
            error=error,
            share=share,
            within=LOOK,
            limit=limit,
            origin=limits.condensation_margin.tag,
        ),
        advised=f"do not mix another batch; cover the work, dry the air, or warm the surface {WITHOUT_FLAME}",
        hold=10 * MINUTE,
    )


def _share_wet(outlook: Outlook, now: float, limit: float, error: float) -> float:
    """Share of paths that come within the limit of the dew point in the next hours."""
    soon = (outlook.time >= now) & (outlook.time <= now + LOOK)
    if not soon.any():
        return 0.0
    margin = condensation_margin(outlook.surface_temperature[:, soon], outlook.vapour_pressure[:, soon])
    return float(np.mean(margin.min(axis=1) - error < limit))


def next_mark(layers: Iterable[Progress], now: float) -> float | None:
    """When one of these countdowns next reaches a mark at which it sounds; None if none does. [UTC s]"""
    marks = [mark for layer in layers for mark in _marks(layer) if mark > now]
    return min(marks, default=None)


def _marks(layer: Progress) -> Iterator[float]:
    opens, closes = layer.moment("laminate-from").likely, layer.moment("laminate-before")
    if opens is not None:
        yield opens
    if closes.early is not None:
        yield from (closes.early - ahead for ahead in AHEAD)
    if closes.likely is not None:
        yield closes.likely + 1.0  # the first moment after it
    if layer.pot is not None:
        yield layer.layer.started + POT_SHARE * layer.pot.pot_life


def _ended(active: State, layers: tuple[Progress, ...]) -> Iterator[Signal]:
    """Alerts about layers that are no longer running are over at once."""
    running = {layer.layer.layer for layer in layers}
    for key, alert in active.items():
        if key.of_layer and key.subject not in running:
            yield Signal(key, False, True, f"{key.subject}: no longer running", due=alert.due, hold=0.0)
