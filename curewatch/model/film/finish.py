"""Is it finished: what glass transition the shed can reach, what warmth finishes it, what it will stand.

A film cures until its glass transition has climbed 20 to 35 K above its own temperature, and all but
stops there. More warmth takes it further: that is a post-cure. In use it must stay well below its glass
transition, or it softens, creeps and prints through; dark paint in the sun is the hardest test most
boats meet.

How far the cold lets it go, and how far any warmth, are the least sure numbers of all. So beside the
likely film stands the lower band: diffusion slower and a lower full network, together one in twenty. A
service is judged by that one.

What a part stands, and what a post-cure brings, rest on the highest glass transition there is. Without
a maker's sheet that states one nobody knows it: then neither is judged, and :data:`NOT_STATED` says why.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from msgspec.structs import replace

from curewatch.materials.resin import Origin, Resin
from curewatch.model.film.film import Cure, History, constant, cure
from curewatch.model.film.post_cure import PostCure, post_cures
from curewatch.model.fit.sheet_unknowns import si_spread
from curewatch.units import DAY

WEEKS = 14 * DAY  # s after which a film in a shed has come as far as it will
FINISHED = 10.0  # K below the highest glass transition counts as finished (assumed)
MARGIN = 15.0  # K that the glass transition must lie above the service temperature (common practice)
LOWER = 1.163  # standard deviations of each of two spreads, together one in twenty
DIFFUSION_SD, FULL_SD = 2.3, 12.0  # of ln kd0 [1] and of the full network [K], where a file gives none
NOT_STATED = (
    "not known, because no maker's sheet states a glass transition (Tg) of this resin. "
    "Use the maker's word, or type in the sheet's Tg: curewatch resin fit"
)


class Service(NamedTuple):
    """Something a finished part must stand."""

    name: str
    temperature: float  # [K]
    origin: Origin


SERVICES = (
    Service(
        "pale paint in the sun", 323.15, Origin("common practice", "pale decks and topsides to 50 degC", 5.0)
    ),
    Service("dark paint in the sun", 348.15, Origin("common practice", "dark surfaces 70 to 80 degC", 5.0)),
    Service("engine space", 338.15, Origin("from memory", "closed engine spaces 50 to 70 degC", 8.0)),
)


class Stands(NamedTuple):
    """One service, and whether this film stands it."""

    service: Service
    now: bool
    finished: bool  # once it has been post-cured
    spare: float  # glass transition by the lower band less service temperature, now [K]


class Finish(NamedTuple):
    """Where a film stands and what would finish it."""

    glass_transition: float  # now [K]
    least: float  # now, by the lower band [K]
    reachable: float  # by staying as it is for two weeks [K]
    reachable_least: float  # the same by the lower band [K]
    wanted: float | None  # at which it counts as finished; none where no sheet states one [K]
    post_cures: tuple[PostCure, ...]  # the gentlest that get there, at most WAYS
    stands: tuple[Stands, ...]

    @property
    def finished(self) -> bool | None:
        """Whether no post-cure is needed; none where that is not known."""
        return None if self.wanted is None else self.glass_transition >= self.wanted


def finish(
    resin: Resin, done: Cure, services: Sequence[Service] = SERVICES, *, slowed: Cure | None = None
) -> Finish:
    """What one film has come to at the end of its history, and what would finish it.

    Parameters
    ----------
    resin : Resin
    done : Cure
        Of one film (n,).
    slowed : Cure, optional
        The same of :func:`lower_band`; a film along ``done``'s temperature if not given.

    Returns
    -------
    Finish
    """
    now, conversion = float(done.glass_transition[-1]), float(done.conversion[-1])
    wanted, early = wanted_of(resin), lower_band(resin)
    if slowed is None:
        slowed = cure(early, History(done.time, done.temperature), conversion=float(done.progress[0]))
    least, warmth = min(now, float(slowed.glass_transition[-1])), float(done.temperature[-1])
    return Finish(
        glass_transition=now,
        least=least,
        reachable=reachable(resin, warmth, conversion),
        reachable_least=reachable(early, warmth, float(slowed.conversion[-1])),
        wanted=wanted,
        post_cures=()
        if wanted is None
        else post_cures((resin, early), (conversion, float(slowed.conversion[-1])), wanted, begin=warmth),
        stands=() if wanted is None else tuple(_stands(each, least, wanted) for each in services),
    )


def wanted_of(resin: Resin) -> float | None:
    """At which a film counts as finished, never above what the sheet states; none without a sheet. [K]"""
    stated = resin.network.stated
    return None if stated is None else min(stated, resin.network.full - FINISHED)


def _stands(service: Service, least: float, wanted: float) -> Stands:
    spare = least - service.temperature
    return Stands(service, spare >= MARGIN, max(least, wanted) - service.temperature >= MARGIN, spare)


def lower_band(resin: Resin) -> Resin:
    """The same resin as one in twenty: diffusion slower by its spread, and a lower full network."""
    kinetics, network = resin.kinetics, resin.network
    sd = si_spread(resin, "kinetics.diffusion") / kinetics.diffusion or DIFFUSION_SD
    lower = LOWER * (si_spread(resin, "network.full") or FULL_SD)
    return replace(
        resin,
        kinetics=replace(kinetics, diffusion=kinetics.diffusion * math.exp(-LOWER * sd)),
        network=replace(network, full=max(network.full - lower, network.uncured + 1.0)),
    )


def reachable(resin: Resin, temperature: float, conversion: float = 0.0) -> float:
    """Glass transition after two more weeks at this temperature. [K, 1] -> [K]"""
    return float(cure(resin, constant(temperature, WEEKS), conversion=conversion).glass_transition[-1])
