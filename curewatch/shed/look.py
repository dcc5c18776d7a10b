"""One look at the shed: the only way from a logbook to what is known at a moment and what follows from it.

*Theory of operation.* A :class:`Look` is of one logbook, one configuration and one moment. Each part is
worked out when it is first asked for, and once: where no layer is running, a list of them costs no weather.
Everything that answers takes its parts from here: `tonight`, `windows`, `layup`, `layer`, `observe`,
`resin compare`, the board and the daemon. So no two of them can stand on different readings.

Law: what is judged has its surface (:class:`Surfaced`), and it is given its surface here and nowhere else.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cached_property
from typing import NamedTuple

import numpy as np

from curewatch.advice.alert import alerts, watchers
from curewatch.advice.alert.alerts import Signal, State
from curewatch.advice.alert.progress import Progress, follow
from curewatch.advice.judge import data_quality
from curewatch.advice.judge.answer import Advice
from curewatch.advice.judge.question import Question, ask
from curewatch.advice.judge.situation import Place, Situation, Surfaced
from curewatch.advice.remedy.parameters import Means
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import CurewatchError
from curewatch.jobs import Layer
from curewatch.logbook import LogbookStore, open_logbook
from curewatch.materials.substrate import Substrate
from curewatch.model.air import outlook as air_outlook
from curewatch.model.air import prospect, surface
from curewatch.model.air.forecast import usable
from curewatch.model.air.outlook import Outlook
from curewatch.model.air.shed import identify
from curewatch.model.film.blush import FRESH_AIR
from curewatch.shed import active_alerts, consult, layer_log, present
from curewatch.shed.clock_watch import NOT_BEFORE


class RunningLayer(NamedTuple):
    """A layer that is running, and how far it is; or the reason why that cannot be said."""

    layer: Layer
    progress: Progress | None
    reason: str = ""


class Look:
    """What is known of a shed at one moment, and what follows; each part lazily, and once."""

    def __init__(
        self,
        logbook: LogbookStore | None,
        configuration: Configuration,
        now: float,
        *,
        length: float = air_outlook.LENGTH,
        not_before: float = NOT_BEFORE,
        active: State | None = None,
    ) -> None:
        """A look at ``now`` [s UTC].

        Parameters
        ----------
        logbook : LogbookStore or None
            None where there is none yet: then nothing is known, which is no error but an unknown.
        length : float
            Of the outlook. [s]
        not_before : float
            What an unset clock shows less than. [s UTC]
        active : State, optional
            The active alerts, by whoever has stepped them further than the logbook tells.
        """
        self.logbook = logbook
        self.configuration = configuration
        self.at = now
        self._length = length
        self._not_before = not_before
        self._given_active = active

    # ---- what is asked

    @cached_property
    def question(self) -> Question:
        """The question as configured, with the resin as its lot has shown itself."""
        return self.asked()

    def asked(
        self,
        *,
        resin: str | None = None,
        batch_mass: float | None = None,
        peroxide_percent: float | None = None,
    ) -> Question:
        """The question with what somebody says in place of the configuration's word. [kg]"""
        return consult.question(
            self.configuration,
            resin=resin,
            batch_mass=batch_mass,
            peroxide_percent=peroxide_percent,
            logbook=self.logbook,
        )

    # ---- what is known

    @cached_property
    def situation(self) -> Situation:
        """Sensors, recent days and troubles; a :class:`Surfaced` one wherever a surface can be told."""
        if self.logbook is None:
            return Situation(self.at)
        known = present.situation(self.logbook, self.configuration, self.at, not_before=self._not_before)
        air = self.configuration.shed.carbon_dioxide_ppm * 1e-6
        return surfaced(known, consult.substrate(self.configuration), air) or known

    @property
    def surfaced(self) -> Surfaced | None:
        """The situation with its surface; none where neither a probe nor the air tells it."""
        return self.situation if isinstance(self.situation, Surfaced) else None

    def doubts(self, question: Question) -> tuple[str, ...]:
        """What to do about each reading that cannot be trusted; empty if all can be."""
        return data_quality.remedies(self.situation, question.limits)

    @cached_property
    def active(self) -> State:
        """The active alerts."""
        if self._given_active is not None:
            return self._given_active
        return {} if self.logbook is None else active_alerts.active(self.logbook)

    # ---- what follows

    @cached_property
    def outlook(self) -> Outlook | None:
        """The coming hours; none where no whole reading of the air is known."""
        if self.surfaced is None:
            return None
        return coming_hours(self.surfaced, consult.substrate(self.configuration), length=self._length)

    def foreseen(self, question: Question) -> tuple[Surfaced, Outlook] | None:
        """What a plan may rest on; none where a reading cannot be trusted, or the air is not known."""
        if self.doubts(question) or self.surfaced is None or self.outlook is None:
            return None
        return self.surfaced, self.outlook

    @cached_property
    def advice(self) -> Advice:
        """The answer for a start now, without what would turn it."""
        return ask(self.question, self.situation, self.outlook)

    def advise(self, question: Question, start: float | None = None) -> Advice:
        """The answer for one start, and what would turn a no-go. [UTC s]"""
        from curewatch.advice.remedy import levers

        return levers.advise(question, self.situation, self.outlook, lambda: self.means(question), start)

    def means(self, question: Question) -> Means:
        """What can be done about a no-go: the shed as its recordings show it, its heater, other resins."""
        configuration = self.configuration
        others = tuple(
            self.asked(resin=name)
            for name in (configuration.resin.name, *configuration.resin.also)
            if name != question.resin.name
        )
        shed = identify(self.situation.past, volume=configuration.shed.volume_m3)
        heater, power = configuration.shed.heater, configuration.shed.heater_kw
        if heater not in {"electric", "flued"}:  # what it gives says nothing of a heater that may be used
            return Means(shed, others, burner=heater)
        return Means(shed, others, None if power is None else 1000.0 * power)

    @cached_property
    def running(self) -> tuple[RunningLayer, ...]:
        """Every running layer, oldest first."""
        if self.logbook is None:
            return ()
        return tuple(self._followed(self.logbook, each) for each in layer_log.running(self.logbook, self.at))

    def _followed(self, logbook: LogbookStore, layer: Layer) -> RunningLayer:
        if self.surfaced is None or self.outlook is None:
            return RunningLayer(layer, None, "nothing is known of the air")
        try:
            asked = consult.about(layer, self.configuration, self.question, logbook)
            return RunningLayer(layer, follow(layer, asked, self.surfaced, self.outlook))
        except CurewatchError as trouble:
            return RunningLayer(layer, None, f"cannot be followed: {trouble}")

    @property
    def progress(self) -> tuple[Progress, ...]:
        """Of the running layers that can be followed."""
        return tuple(each.progress for each in self.running if each.progress is not None)

    @cached_property
    def signals(self) -> tuple[Signal, ...]:
        """What this moment says about each possible alert."""
        return watchers.signals(
            self.situation, self.progress, self.question.limits, self.outlook, active=self.active
        )

    @property
    def alerts(self) -> State:
        """The active alerts in the words of this moment."""
        return alerts.reworded(self.active, self.signals)


@contextmanager
def looking(
    configuration: Configuration, now: float, *, length: float = air_outlook.LENGTH
) -> Iterator[Look]:
    """A look at the configured logbook, open for as long as this is; it may not be there yet. [s]"""
    path = logbook_path(configuration)
    if not path.exists():
        yield Look(None, configuration, now, length=length)
        return
    with open_logbook(path, read_only=True) as logbook:
        yield Look(logbook, configuration, now, length=length)


def surfaced(
    situation: Situation, substrate: Substrate, carbon_dioxide: float = FRESH_AIR
) -> Surfaced | None:
    """The situation with a surface: the probe's, or one estimated from the air, marked as such.

    A surface sensor that is configured but silent is a trouble of the situation and stays one.
    ``carbon_dioxide`` holds where no sensor measures it. [1]
    """
    below = situation.surface or _estimated(situation, substrate)
    if below is None:
        return None
    return Surfaced(
        at=situation.at,
        air=situation.air,
        surface=below,
        outside=situation.outside,
        troubles=situation.troubles,
        past=situation.past,
        carbon_dioxide=carbon_dioxide if situation.carbon_dioxide is None else situation.carbon_dioxide,
        forecasts=situation.forecasts,
        rejected=situation.rejected,
    )


def _estimated(situation: Situation, substrate: Substrate) -> Place | None:
    air = situation.air
    if air is None or air.temperature is None:
        return None
    found = surface.estimated_now(situation.past, situation.at, air.temperature, substrate)
    return Place(
        sensor=air.sensor,
        role="surface",
        time=air.time,
        temperature=float(found.temperature),
        temperature_sd=float(np.hypot(found.sd, air.temperature_sd)),
        estimated=True,
    )


def coming_hours(
    situation: Surfaced, substrate: Substrate, *, length: float = air_outlook.LENGTH
) -> Outlook | None:
    """The outlook from what is known, so long [s]; none where there is no whole air reading."""
    air, below = situation.air, situation.surface
    if air is None or air.temperature is None or air.vapour_pressure is None:
        return None
    newest = situation.forecasts[-1] if situation.forecasts else None
    told = newest is not None and usable(newest, situation.at)
    return prospect.coming_hours(
        situation.past,
        situation.at,
        air.temperature,
        air.vapour_pressure,
        below.temperature,
        substrate=substrate,
        forecast=newest,
        earlier=situation.forecasts[:-1],
        shed=identify(situation.past) if told else None,
        length=length,
    )
