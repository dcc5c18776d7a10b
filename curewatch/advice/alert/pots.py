"""The alarm of a mixed pot: of a running layer, and of a batch that nothing was laid from yet.

Its own thermometer rings first, where one is in it; else the model does.

It needs no forecast and no trusted air: a pot warms itself. Where the air is not known a warm one is assumed.
"""

import math
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from curewatch.advice.alert.alerts import AlertKind, Key, Signal
from curewatch.advice.alert.probe import RING
from curewatch.advice.alert.progress import Progress
from curewatch.advice.judge.batches import SHARE
from curewatch.phrases import phrase
from curewatch.units import MINUTE

POT_ADVICE = (
    "WARNING: a hot pot burns and can smoke. Stop using it; what is on the job stays. Tip the rest out thin "
    "in a metal tray outdoors, uncovered, on something that cannot burn. If it smokes, do not carry it: "
    "leave the shed. Is it empty? Then: curewatch job pot-empty {option}"
)
WARM_AIR = 303.15  # K, assumed where nothing is known of the air: a pot then kicks sooner, not later
WATCHED = 30 * MINUTE  # s after it kicked in which its alarm stays


class OpenPot(NamedTuple):
    """A pot that nobody said was empty."""

    subject: str  # of its alert: L1, or ``J1 B1`` of a batch that is not laid
    named: str  # as it is said: ``J1 rudder cheek, L1``
    started: float  # UTC, when it was mixed [s]
    life: float  # until it kicks; infinite where the model says never [s]
    early: float  # until a fast lot kicks [s]
    option: str  # that says of which pot `job pot-empty` speaks
    slope: float | None = None  # how fast its own thermometer rises [K/s]

    @property
    def kicks(self) -> float:
        """When, UTC. [s]"""
        return self.started + self.life

    @property
    def use_until(self) -> float:
        """When it should be empty, UTC. Its lot may be a fast one, unless its own thermometer tells. [s]"""
        return self.started + SHARE * (self.early if self.slope is None else self.life)


def of_layer(layer: Progress) -> OpenPot | None:
    """The pot of a followed layer; none where its mass is not known or it is empty."""
    laid = layer.layer
    if layer.pot is None or laid.pot_emptied is not None:
        return None
    option = f"--layer {laid.layer}"
    lives = layer.pot.usual.kicks, layer.pot.kicks_early
    return OpenPot(laid.layer, laid.named, laid.started, *lives, option, layer.cup_slope)


def pots(open_ones: Iterable[OpenPot], now: float) -> Iterator[Signal]:
    """The signal of each pot that is open. ``now`` [s]."""
    yield from (_signal(pot, now) for pot in open_ones)


def emptied(layer: Progress) -> Iterator[Signal]:
    """The end of the alarm of a layer whose pot is empty."""
    if layer.layer.pot_emptied is not None:
        key, text = Key(AlertKind.POT, layer.layer.layer), "{layer}: its pot is empty"
        yield Signal(key, False, True, phrase(text, layer=layer.layer.named), hold=0.0)


def _signal(pot: OpenPot, now: float) -> Signal:
    slope = pot.slope or 0.0
    measured = slope >= RING - 1e-12
    raised = measured or pot.use_until <= now <= pot.kicks + WATCHED
    verb = "kicks" if now < pot.kicks else "kicked"
    never = math.isinf(pot.life)
    if measured:
        text = "{layer}: its cup warms by {rise:difference} a minute"
        said = phrase(text, layer=pot.named, rise=60.0 * slope)
    elif never:
        said = phrase("{layer}: its pot does not kick", layer=pot.named)
    else:
        text = f"{{layer}}: pot warming; it {verb} at about {{kicks:moment}}"
        said = phrase(text, layer=pot.named, kicks=pot.kicks)
    return Signal(
        Key(AlertKind.POT, pot.subject),
        raised=raised,
        clear=not raised,
        text=said,
        advised=POT_ADVICE.format(option=pot.option),
        due=None if never else pot.kicks,
        hold=0.0,
    )
