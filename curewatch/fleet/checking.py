"""What of a set-up can lose what: settings of store and brokers that an acknowledgement leans on."""

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from curewatch.configuration import Configuration
from curewatch.errors import StoreFailed
from curewatch.fleet.plan import OPEN_LOGBOOKS, FleetPlan
from curewatch.logbook.postgres.address import is_address_file, read_address
from curewatch.logbook.postgres.telling import library, telling


class Doubt(NamedTuple):
    """Something that can lose what was acknowledged, or stop the taking."""

    place: str
    found: str
    loses: str
    use: str


# setting of the store -> values that keep the promise, what is lost otherwise, what to set
STORE = {
    "fsync": (("on",), "a crash of its machine takes readings that were acknowledged", "fsync = on"),
    "full_page_writes": (
        ("on",),
        "a crash of its machine can tear a page, and what stood on it",
        "full_page_writes = on",
    ),
    "synchronous_commit": (
        ("on", "remote_apply"),
        "other programs of this role lose their last commits; a worker sets it for itself",
        "synchronous_commit = on",
    ),
    "synchronous_standby_names": (
        (),  # whatever names one
        "a primary that dies takes the readings that its standby has not got",
        "a standby, and synchronous_standby_names with its name",
    ),
}
SESSIONS = "max_connections"
AT_ONCE, OTHERS = 2, 10  # workers, and lookers, that a fleet is meant to have; sessions of anybody else
NO_SESSION = "a worker that takes over finds no session, and its sheds' readings wait"
LEAST_HOSTS = 3
BROKERS = "a node that dies stops the queues, and a disk that dies with it takes what nobody had taken yet"


def doubts_of_store(place: str, settings: Mapping[str, str]) -> list[Doubt]:
    """What these settings of a database server do not keep."""
    found = []
    for name, (good, loses, use) in STORE.items():
        value = settings.get(name, "")
        if value not in good if good else not value.strip():
            found.append(Doubt(place, f"{name} = {value or 'nothing'}", loses, use))
    return found


def doubts_of_sessions(place: str, settings: Mapping[str, str], sheds: int) -> list[Doubt]:
    """Whether two workers and two lookers find a session for each of so many sheds."""
    needed = AT_ONCE * (sheds + min(sheds, OPEN_LOGBOOKS)) + OTHERS
    there = settings.get(SESSIONS, str(needed))
    if int(there) >= needed:
        return []
    return [Doubt(place, f"{SESSIONS} = {there} for {sheds} sheds", NO_SESSION, f"{SESSIONS} = {needed}")]


def doubts_of_brokers(hosts: int) -> list[Doubt]:
    """What so few nodes do not keep."""
    if hosts >= LEAST_HOSTS:
        return []
    use = f"{LEAST_HOSTS} nodes of one cluster"
    return [Doubt("the brokers", f"{hosts} host{'s' * (hosts > 1)}", BROKERS, use)]


def check(plan: FleetPlan, sheds: Mapping[str, Configuration]) -> list[Doubt]:
    """All doubts of this plan: its hosts, each database server once, and logbooks that are files.

    Raises
    ------
    StoreFailed
        A database does not answer.
    """
    found = doubts_of_brokers(len(plan.broker.hosts))
    stores: dict[str, list[tuple[str, Path]]] = {}
    for name, configuration in sheds.items():
        place = configuration.logbook.path
        if place is None or not is_address_file(place):
            loses = "a disk that dies takes it; only one worker on one machine can serve it"
            found.append(Doubt(name, "a logbook in a file", loses, "an address of a database"))
            continue
        stores.setdefault(read_address(place).database, []).append((name, place))
    for database, served in stores.items():
        name, place = served[0]
        settings = _settings(place, database)
        found += doubts_of_store(f"the store of {name}", settings)
        found += doubts_of_sessions(f"the store of {name}", settings, len(served))
    return found


def _settings(place: Path, database: str) -> dict[str, str]:
    with telling(place), library().connect(database, autocommit=True) as connection:
        told = connection.execute(
            "SELECT name, setting FROM pg_settings WHERE name = ANY(%s)", ([*STORE, SESSIONS],)
        )
        settings = dict(told.fetchall())
    if not settings:
        raise StoreFailed(f"logbook {place}: the server tells no settings. Use a role that may read them")
    return settings
