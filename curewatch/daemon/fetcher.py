"""A forecast that comes by itself: asked for in a child, kept as an entry, remembered beside the logbook.

The child carries the HTTP library and the model, and ends; the daemon carries neither. What is asked goes
to it through its standard input, so nothing of it shows in a list of processes. Whoever asks, the daemon or
a command, goes through :func:`fetch`, so that the service is asked no oftener than it allows.
"""

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from curewatch import __version__
from curewatch.clock import Instant
from curewatch.configuration import Configuration, ForecastTable
from curewatch.daemon import fetching
from curewatch.daemon.child import Child, serve
from curewatch.errors import CurewatchError
from curewatch.units import MINUTE

if TYPE_CHECKING:
    from curewatch.shed.forecasts import Fed

FARTHEST = 50e3  # m; a forecast of a place further off is of another place


class FetchRequest(NamedTuple):
    """What the child is given."""

    service: ForecastTable
    logbook: Path
    zone: str
    at: float  # UTC [s]
    also: tuple[Path, ...] = ()  # logbooks of the other sheds at this place, asked for once


class Fetched(NamedTuple):
    """What the child did."""

    memory: fetching.Memory
    asked: bool  # none asks before the last answer has expired
    fed: "Fed | None" = None  # a new forecast, which is kept


def memory_file(logbook: Path) -> Path:
    """Where it is remembered when the service was asked."""
    return logbook.with_suffix(".forecast.json")


def remembered(logbook: Path) -> fetching.Memory:
    """What is known of the service; nothing where it was never asked."""
    try:
        return fetching.load(memory_file(logbook).read_bytes())
    except OSError:
        return fetching.Memory()


def address(service: ForecastTable) -> str:
    """The address with the rounded place in it."""
    north, east = service.place or (0.0, 0.0)
    filled = (service.url or "").replace("{latitude}", f"{north:.2f}")
    return filled.replace("{longitude}", f"{east:.2f}")


def host(service: ForecastTable) -> str:
    """Who is asked."""
    return urlsplit(service.url or "").hostname or ""


def fetch(asked: FetchRequest) -> Fetched:
    """Ask the service if it may be asked, and keep what it foretells."""
    from curewatch.daemon.edges.weather_service import get

    url, memory = address(asked.service), remembered(asked.logbook)
    if not fetching.due(memory, url, asked.at):
        return Fetched(memory, asked=False)
    since = memory.last_modified if memory.url == url else ""
    answer = get(url, f"curewatch/{__version__} {asked.service.contact}", since)
    known, fed = fetching.after(memory, answer, url, asked.at), None
    if answer.status in fetching.GOOD:
        try:
            fed = _kept(asked, answer.body)
        except CurewatchError as trouble:
            answer = fetching.ServiceAnswer(answer.status, answer.headers, trouble=str(trouble))
            known = fetching.failed(memory, answer, url, asked.at)
    _remember(asked.logbook, known)
    return Fetched(known, asked=True, fed=fed)


def _kept(asked: FetchRequest, body: bytes) -> "Fed":
    from curewatch.errors import UsageError
    from curewatch.logbook import open_logbook
    from curewatch.shed import forecasts

    fed = forecasts.from_bytes(body, asked.at, "", ZoneInfo(asked.zone))
    home = asked.service.place
    if fed.place and home and (away := forecasts.far_away(fed.place, home)) > FARTHEST:
        raise UsageError(f"its forecast is of another place, {away / 1000:.0f} km away")
    for place in (asked.logbook, *asked.also):
        with open_logbook(place) as logbook:
            logbook.write(forecasts.entry(fed.forecast, host(asked.service)))
    return fed


def _remember(logbook: Path, memory: fetching.Memory) -> None:
    """Whole or not at all."""
    file = memory_file(logbook)
    beside = file.with_suffix(".new")
    beside.write_bytes(fetching.dump(memory))
    beside.replace(file)


class Fetcher:
    """Has the daemon's forecasts fetched when they are due."""

    def __init__(self, configuration: Configuration, logbook: Path, also: tuple[Path, ...] = ()) -> None:
        """``also``: logbooks of other sheds that what comes is kept in, too."""
        self.configuration = configuration  # replaced on reload
        self._also = also
        self._logbook = logbook
        self._child = Child(__name__)
        self._next = 0.0  # monotonic, when to look again [s]

    def look(self, now: Instant) -> None:
        """Have it asked if it may be asked; what comes is kept by the child."""
        self._child.collect()
        service = self.configuration.forecast
        if not service.url or self._child.busy or now.monotonic < self._next:
            return
        self._next = now.monotonic + MINUTE
        if fetching.due(remembered(self._logbook), address(service), now.utc):
            self._next = now.monotonic + fetching.FIRST_RETRY  # also where the child comes to nothing
            zone = self.configuration.shed.zone
            self._child.ask(FetchRequest(service, self._logbook, zone, now.utc, self._also))


def answer() -> None:
    """In the child: fetch a forecast, say what came of it."""
    serve(fetch)
