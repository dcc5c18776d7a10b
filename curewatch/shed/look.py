"""One look at the shed: the only way from a logbook to what is known at a moment and what follows from it.

*Theory of operation.* A :class:`Look` is of one logbook, one configuration and one moment. Each part is
worked out when it is first asked for, and once: where no layer is running, a list of them costs no weather.
Everything that answers takes its parts from here: `tonight`, `windows`, `layup`, `layer`, `observe`,
`resin compare`, the board and the daemon. So no two of them can stand on different readings.

Law: what is judged has its surface (:class:`Surfaced`), and it is given its surface here and nowhere else.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from msgspec.structs import fields, replace

from curewatch.advice.judge import data_quality
from curewatch.advice.judge.answer import Advice
from curewatch.advice.judge.question import Question, ask
from curewatch.advice.judge.situation import Place, Situation, Surfaced
from curewatch.advice.judge.timeline import PotBatch, pot_lives
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import CurewatchError
from curewatch.jobs import Layer, OpenPart
from curewatch.later import Later
from curewatch.logbook import LogbookStore, open_logbook
from curewatch.materials import load_resin
from curewatch.materials.substrate import Substrate
from curewatch.model.air import outlook as air_outlook
from curewatch.model.air import prospect, surface
from curewatch.model.air.outlook import Outlook
from curewatch.model.air.reading_errors import Accuracy, with_errors
from curewatch.model.film.blush import FRESH_AIR
from curewatch.model.fit.score import Deviation
from curewatch.shed import (
    consult,
    layer_log,
    learnt,
    open_job,
    open_parts,
    pot_log,
    present,
)
from curewatch.shed.clock_watch import NOT_BEFORE
from curewatch.shed.past_grid import PastGrid

if TYPE_CHECKING:
    from curewatch.advice.alert import alerts, openings, pots, primer, progress, watchers
    from curewatch.advice.alert.alerts import Signal, State
    from curewatch.advice.alert.pots import OpenPot
    from curewatch.advice.alert.progress import Progress
    from curewatch.advice.plan import windows
    from curewatch.advice.plan.windows import Strip
    from curewatch.advice.remedy.parameters import Means
    from curewatch.shed import active_alerts, copied, primer_log, probes
else:  # who asks for no alert and no running layer, as `tonight` and `windows`, loads none of these
    alerts, openings, pots, primer, progress, watchers = (
        Later(f"curewatch.advice.alert.{name}")
        for name in ("alerts", "openings", "pots", "primer", "progress", "watchers")
    )
    active_alerts, copied, primer_log, probes = (
        Later(f"curewatch.shed.{name}") for name in ("active_alerts", "copied", "primer_log", "probes")
    )
    windows = Later("curewatch.advice.plan.windows")


class RunningLayer(NamedTuple):
    """A layer that is running, and how far it is; or the reason why that cannot be said."""

    layer: Layer
    progress: "Progress | None"
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
        active: "State | None" = None,
        listening: bool = False,
        grid: PastGrid | None = None,
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
        listening : bool
            Sensors had no time to report yet since the program started.
        grid : PastGrid, optional
            What a look before this one at the same logbook read of the past.
        """
        self.logbook = logbook
        self.configured = configuration
        self.at = now
        self._length = length
        self._not_before = not_before
        self._given_active = active
        self._listening = listening
        self._grid = grid

    # ---- what is asked

    @cached_property
    def configuration(self) -> Configuration:
        """As configured, and as the one open job says."""
        if self.logbook is None:
            return self.configured
        return open_job.configured(self.configured, self.logbook)

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
        face: str | None = None,
        moisture: float | None = None,
        layers: int = 1,
    ) -> Question:
        """The question with what somebody says in place of the configuration's word. [kg]"""
        return consult.question(
            self.configuration,
            resin=resin,
            batch_mass=batch_mass,
            peroxide_percent=peroxide_percent,
            face=face,
            moisture=moisture,
            layers=layers,
            logbook=self.logbook,
            below=self._uppermost,
            lain=self._lain,
        )

    @cached_property
    def _uppermost(self) -> tuple[Layer, ...]:
        return () if self.logbook is None else layer_log.uppermost(self.logbook, self.at)

    @cached_property
    def _lain(self) -> str | None:
        """The resin of the layer that the next one lies on, warm or not."""
        if self._uppermost or self.logbook is None:
            return self._uppermost[-1].resin if self._uppermost else None
        return open_job.uppermost_resin(self.logbook)

    # ---- what is known

    @cached_property
    def situation(self) -> Situation:
        """Sensors, recent days and troubles; a :class:`Surfaced` one wherever a surface can be told."""
        if self.logbook is None:
            return Situation(self.at)
        known = present.situation(
            self.logbook, self.configuration, self.at, not_before=self._not_before, grid=self._grid
        )
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
    def active(self) -> "State":
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

    def pulls(self, question: Question) -> tuple[Deviation, ...]:
        """What was seen of layers of this resin, against what was told of them."""
        return () if self.logbook is None else learnt.pulls(self.logbook, question.resin.name)

    def means(self, question: Question) -> "Means":
        """What can be done about a no-go: the shed as its recordings show it, its heater, other resins."""
        from curewatch.advice.remedy.parameters import Means
        from curewatch.model.air.shed import identify

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

    def about(self, layer: Layer) -> Question:
        """The question about a layer that was laid, and what it lies on and was warm. Needs a logbook."""
        assert self.logbook is not None
        asked = consult.about(layer, self.configuration, self.question, self.logbook)
        earlier = layer_log.beneath(self.logbook, layer)
        mix = asked.resin, layer.peroxide_percent
        return replace(asked, below=consult.warm_below(self.configuration, mix, earlier))

    def _followed(self, logbook: LogbookStore, layer: Layer) -> RunningLayer:
        if self.surfaced is None or self.outlook is None:
            return RunningLayer(layer, None, "nothing is known of the air")
        try:
            asked = self.about(layer)
            seen = probes.of_layer(logbook, layer, self.surfaced)
            asked = probes.taught(logbook, asked, layer, self.surfaced, seen)
            there = progress.follow(
                layer, asked, self.surfaced, self.outlook, below=asked.below, probe=seen.layer, cup=seen.cup
            )
            return RunningLayer(layer, there)
        except CurewatchError as trouble:
            return RunningLayer(layer, None, f"cannot be followed: {trouble}")

    @property
    def progress(self) -> "tuple[Progress, ...]":
        """Of the running layers that can be followed."""
        return tuple(each.progress for each in self.running if each.progress is not None)

    @cached_property
    def signals(self) -> "tuple[Signal, ...]":
        """What this moment says about each possible alert."""
        found = watchers.signals(
            self.situation,
            self.progress,
            self.question.limits,
            self.outlook,
            active=self.active,
            listening=self._listening,
            further=self.further_pots,
            unfollowed=[each.layer.layer for each in self.running if each.progress is None],
            work=lambda: open_parts.named(self.open_parts),
        )
        primed = primer.primed(self.primers, self.at, self.active)
        copy = copied.signals(self.logbook, self.active, self.at)
        return (*found, *primed, *copy, *openings.openings(self._chances, self.active))

    @cached_property
    def further_pots(self) -> "tuple[OpenPot, ...]":
        """Pots of batches that are not laid, and of layers of which nothing else can be told."""
        if self.logbook is None:
            return ()
        unfollowed = [each.layer for each in self.running if each.progress is None]
        found = [self._pot_of(layer) for layer in unfollowed]
        found += [self._pot_of_batch(batch) for batch in pot_log.unlaid(self.logbook, self.at)]
        return tuple(pot for pot in found if pot is not None)

    @cached_property
    def open_parts(self) -> tuple[OpenPart, ...]:
        """The parts of the work that nobody has said are over, the last told of first."""
        return () if self.logbook is None else open_parts.open_parts(self.logbook, self.at)

    def _waiting(self) -> str:
        """The open parts that a layer of the question's resin could be for."""
        return open_parts.named(each for each in self.open_parts if self._bears(each.resin))

    def _bears(self, resin: str) -> bool:
        """Whether what was laid last hardens in the same way; of what is not known nothing is excluded."""
        try:
            laid = load_resin(resin, self.configuration.resin.folder) if resin else self.question.resin
        except CurewatchError:
            return True
        return laid.chemistry.dosed == self.question.resin.chemistry.dosed

    def _pot_of(self, layer: Layer) -> "OpenPot | None":
        late = self.at - layer.started > pot_log.LONGEST
        if layer.batch_mass is None or layer.pot_emptied is not None or late:
            return None
        lives = self._pot_lives(layer.resin, layer.batch_mass, layer.peroxide_percent)
        option = f"--layer {layer.layer}"
        return lives and pots.OpenPot(layer.layer, layer.named, layer.started, *lives, option)

    def _pot_of_batch(self, batch: pot_log.MixedBatch) -> "OpenPot | None":
        lives = self._pot_lives(batch.resin, batch.mass, batch.peroxide_percent)
        subject, option = f"{batch.job} {batch.batch}".strip(), f"--batch {batch.batch} --job {batch.job}"
        parts = [each.named for each in self.open_parts if each.job == batch.job]
        named = f"{parts[0]}, {batch.batch}" if len(parts) == 1 else subject
        return lives and pots.OpenPot(subject, named, batch.mixed, *lives, option)

    def _pot_lives(
        self, resin: str, mass: float, peroxide_percent: float | None
    ) -> tuple[float, float] | None:
        """Of the usual and a fast lot, in the air of now, or in warm air where that is not known. [s]

        None where it never kicks.
        """
        air = None if self.situation.air is None else self.situation.air.temperature
        try:
            chosen = load_resin(resin, self.configuration.resin.folder)
            warmth = pots.WARM_AIR if air is None else air
            found = pot_lives(PotBatch(chosen, mass, peroxide_percent), warmth)
        except CurewatchError:
            return None
        return (found.usual.kicks, found.kicks_early) if np.isfinite(found.usual.kicks) else None

    @cached_property
    def primers(self) -> "tuple[primer_log.PrimerCoat, ...]":
        """The primers that wait for their laminate."""
        return () if self.logbook is None else primer_log.waiting(self.logbook, self.at)

    @property
    def _chances(self) -> "openings.Chances":
        settings, now = self.configuration, self.at
        return openings.Chances(
            now,
            consult.working_spans(settings, now, now + openings.AHEAD),
            advice=lambda: self.advice,
            strip=lambda: self._coming_starts,
            at=lambda start: ask(self.question, self.situation, self.outlook, start),
            needed=self.question.limits.probability.value,
            tells_go=settings.alerts.go_now,
            hour=self.daily_hour(openings.LASTS),
            work=self._waiting,
        )

    @cached_property
    def _coming_starts(self) -> "Strip | None":
        """The starts of the coming hours; none where a plan may not rest on what is known."""
        foreseen, now = self.foreseen(self.question), self.at
        if foreseen is None:
            return None
        working = consult.working_spans(self.configuration, now, now + openings.AHEAD)
        ahead, every = openings.AHEAD, openings.EVERY
        return windows.strip(self.question, *foreseen, working, ahead=ahead, every=every)

    def daily_hour(self, after: float = 0.0) -> float | None:
        """The next moment of the daily line; one that is less than ``after`` ago counts still. [UTC s]"""
        wanted = self.configuration.alerts.tonight_at
        if wanted is None:
            return None
        today = datetime.fromtimestamp(self.at - after, self.configuration.zone).date()
        days = (datetime.combine(today + timedelta(days=n), wanted, self.configuration.zone) for n in (0, 1))
        return next(at for day in days if (at := day.timestamp()) > self.at - after)

    @property
    def alerts(self) -> "State":
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
    measured = situation.carbon_dioxide
    known: dict[str, Any] = {each.name: getattr(situation, each.name) for each in fields(situation)}
    known |= {"surface": below, "carbon_dioxide": carbon_dioxide if measured is None else measured}
    return Surfaced(**known)


def _estimated(situation: Situation, substrate: Substrate) -> Place | None:
    air = situation.air
    if air is None or air.temperature is None:
        return None
    found = surface.estimated_now(situation.past, situation.heard, air.temperature, substrate)
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
    """From the last reading on, so long [s]; none where there is no whole air reading.

    From then and not from now: what nobody measured since is not known, and asked later it is told the same.
    """
    air, below = situation.air, situation.surface
    if air is None or air.temperature is None or air.vapour_pressure is None:
        return None
    found = prospect.coming_hours(
        situation.past,
        situation.heard,
        air.temperature,
        air.vapour_pressure,
        below.temperature,
        substrate=substrate,
        forecast=situation.forecasts[-1] if situation.forecasts else None,
        earlier=situation.forecasts[:-1],
        length=length,
    )
    return with_errors(found, accuracy(situation))


def accuracy(situation: Surfaced) -> Accuracy:
    """Of the sensors that a situation rests on; an estimated surface errs with the air."""
    air, below = situation.air, situation.surface
    warm = 0.0 if air is None else air.temperature_sd
    damp = 0.0 if air is None else air.relative_humidity_sd
    own = np.sqrt(max(0.0, below.temperature_sd**2 - warm**2)) if below.estimated else below.temperature_sd
    return Accuracy(warm, damp, float(own), below.estimated)
