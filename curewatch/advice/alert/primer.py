"""The alert of a timber primer: laminate on it while it is tacky."""

from collections.abc import Iterable, Iterator
from typing import Protocol

from curewatch.advice.alert.alerts import AlertKind, Key, Signal, State
from curewatch.phrases import phrase


class Primed(Protocol):
    """A coat of primer that waits for its laminate. Times in UTC seconds and seconds."""

    @property
    def name(self) -> str:
        """Of the coat, in the log."""

    @property
    def named(self) -> str:
        """What a person calls it: its part, or its name."""

    @property
    def at(self) -> float:
        """When it was brushed on. [s]"""

    @property
    def tacky_after(self) -> float:
        """Its wait until it is tacky. [s]"""

    @property
    def open_for(self) -> float | None:
        """How long it stays tacky; none if nobody knows. [s]"""


def primed(coats: Iterable[Primed], now: float, active: State) -> Iterator[Signal]:
    """One signal for each waiting coat: tacky, or no longer; and the end of those that were laid on.

    ``now`` [s].
    """
    waiting = {coat.name: coat for coat in coats}
    for coat in waiting.values():
        yield _of(coat, now)
    for key in active:
        if key.kind is AlertKind.PRIMER and key.subject not in waiting:
            yield Signal(key, False, True, f"{key.subject}: laid on, or past", hold=0.0)


def marks(coats: Iterable[Primed]) -> Iterator[float]:
    """When a coat becomes tacky, and when it no longer is. [UTC s]"""
    for coat in coats:
        yield coat.at + coat.tacky_after
        if coat.open_for is not None:
            yield coat.at + coat.open_for


def _of(coat: Primed, now: float) -> Signal:
    key, tacky = Key(AlertKind.PRIMER, coat.name), coat.at + coat.tacky_after
    ends = None if coat.open_for is None else coat.at + coat.open_for
    if ends is not None and now >= ends:
        text = phrase("{coat}: the primer is no longer tacky. Do not laminate on it", coat=coat.named)
        advised = "Abrade it and prime again, as its sheet says. Wear the mask that the sheet names."
        return Signal(key, True, False, text, advised, meaning="past", hold=0.0)
    text = phrase("{coat}: the primer should be tacky. Laminate on it now", coat=coat.named)
    advised = (
        "Touch it with a gloved finger: it must stick and not wet the glove. Its sheet comes first. "
        "Tell it: curewatch layer"
    )
    raised = now >= tacky
    return Signal(key, raised, not raised, text, advised, due=ends, meaning="tacky", hold=0.0)
