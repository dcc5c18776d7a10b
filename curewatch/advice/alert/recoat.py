"""The alert about one layer's recoat window: open, soon to close, short, not sure, not fit, closed.

One alert a layer, whose meaning changes. What was told ends it: the next layer laid on it, or a closed
window's face abraded.
"""

from collections.abc import Iterator

from curewatch.advice.alert.alerts import AlertKind, Key, Signal, State
from curewatch.advice.alert.progress import Progress
from curewatch.advice.judge import checks
from curewatch.advice.judge.data_quality import troubles
from curewatch.advice.judge.limits import Limits
from curewatch.advice.judge.situation import Situation, Surfaced
from curewatch.phrases import Said, phrase
from curewatch.units import MINUTE
from curewatch.wording import sure_window

CLOSING = 60 * MINUTE  # before its early end a window is closing (assumed) [s]
HOLD = 10 * MINUTE
OPEN, SOON, NOT_FIT, CLOSED = "open", "closing", "not-fit", "closed"
SHORT, UNSURE = "short", "unsure"  # it closes soon and is not open yet; it may close before it opens
TEXTS = {
    OPEN: "{layer}: lay the next layer now, before {before:moment}",
    SOON: "{layer}: laminate again before {before:moment}; the recoat window closes soon",
    SHORT: "{layer}: laminate again before {before:moment}; its recoat window opens at {opens:moment}",
    UNSURE: "{layer}: no sure window for the next layer, it may close before it opens",
    NOT_FIT: "{layer}: not fit for the next layer, {against}. The window closes at {before:moment}",
    CLOSED: "{layer}: the recoat window closed at about {closed:moment}",
}


def obstacle(situation: Situation, limits: Limits) -> Said:
    """What forbids laminating at this moment, in a few words; empty if nothing measured does.

    An open recoat window is no leave to laminate: the same limits as for a start hold for the next layer.
    """
    if troubles(situation, limits):
        return "its readings cannot be trusted"
    air, seen = situation.air, situation if isinstance(situation, Surfaced) else None
    if seen is None or air is None or air.temperature is None or air.relative_humidity is None:
        return "nothing is known of its air"
    errors, k = checks.sensor_errors(seen), checks.allowance(limits)
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


def meaning(layer: Progress, against: Said = "") -> str:
    """What the window means now; empty where it is not open yet, or no longer matters."""
    opens, closes = layer.moment("laminate-from").likely, layer.moment("laminate-before")
    if layer.layer.covered is not None:
        return ""
    if closes.likely is not None and layer.at > closes.likely:
        return "" if layer.layer.abraded is not None else CLOSED
    soon = closes.early is not None and layer.at >= closes.early - CLOSING
    if not soon and (opens is None or layer.at < opens):
        return ""
    if not sure_window(opens, closes.early):
        return UNSURE
    short = opens is not None and layer.at < opens
    return NOT_FIT if against else SHORT if short else SOON if soon else OPEN


def next_layer(layer: Progress, against: Said, active: State) -> Iterator[Signal]:
    """The signal about the next layer; ``against`` is what forbids laminating now."""
    key = Key(AlertKind.RECOAT_WINDOW, layer.layer.layer)
    means = meaning(layer, against)
    closes, before = layer.moment("laminate-before"), active.get(key)
    if not means:
        told = layer.layer.covered is not None or layer.layer.abraded is not None
        yield Signal(
            key, False, True, phrase("{layer}: ended", layer=layer.layer.named), hold=0.0 if told else HOLD
        )
        return
    yield Signal(
        key,
        raised=True,
        clear=False,
        text=_text(layer, means, against),
        advised=_advised(layer, means),
        due=None if means in {UNSURE, CLOSED} else closes.early,
        meaning=means,
        again=before is not None and (before.meaning == NOT_FIT) != (means == NOT_FIT),
    )


def _text(layer: Progress, means: str, against: Said) -> Said:
    opens, closes = layer.moment("laminate-from").likely, layer.moment("laminate-before")
    words = TEXTS[means]
    if closes.early is None:  # it stays open as far as is foreseen
        words = words.replace(", before {before:moment}", "").partition(". The window")[0]
    return phrase(
        words,
        layer=layer.layer.named,
        against=against,
        opens=opens or 0.0,
        before=closes.early or 0.0,
        closed=closes.likely or 0.0,
    )


def _advised(layer: Progress, means: str) -> Said:
    """What to do now."""
    if means == NOT_FIT:
        peel_ply = layer.layer.peel_ply_on is not None
        leave = "leave the peel ply on, and abrade" if peel_ply else f"let it cure, {_wash(layer)}abrade"
        return f"Warm or dry the shed before the next layer. Or {leave} when it is ready to sand."
    if means in {UNSURE, CLOSED}:
        return (
            f"Wear a P3 filter and gloves. Let it cure until it is ready to sand, then {_wash(layer)}"
            "abrade to dull all over. The bond is then mechanical."
        )
    return _clean_first(layer)


def _clean_first(layer: Progress) -> str:
    if layer.layer.peel_ply_on is not None:
        return "Tear the peel ply off and abrade first."
    if layer.blush != "none" and layer.layer.washed is None:
        return "Blush is foreseen: wash with water and abrade first."
    return "It bonds chemically; no sanding is needed."


def _wash(layer: Progress) -> str:
    return "wash with water, " if layer.resin.blush.amine_factor else ""


def marks(layer: Progress) -> Iterator[float]:
    """The moments at which the meaning changes by itself. [UTC s]"""
    opens, closes = layer.moment("laminate-from").likely, layer.moment("laminate-before")
    if opens is not None:
        yield opens
    if closes.early is not None:
        yield closes.early - CLOSING
    if closes.likely is not None:
        yield closes.likely + 1.0  # the first moment after it
