"""What holds for all tests: linear algebra on one thread, no measure of speed, and a Ctrl-C that works.

Which tests are quick, and which cases of a rule the default run takes, is decided here, too.
"""

import gc
import os
import signal
import sys
from collections import defaultdict
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.internal.conjecture import providers

from tests.shared_state import unchanged

os.environ.setdefault(
    "OPENBLAS_NUM_THREADS", "1"
)  # before numpy comes; on small arrays more threads only spin

# Tests start hundreds of processes. Where compiled files are not kept, each would compile the program anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# By itself hypothesis fails an example that took 0.2 s, which a busy machine makes of any. In CI it takes the
# same hundred examples each time, so that a run tells of the change; elsewhere fewer, but new ones each time.
settings.register_profile(
    "any machine",
    max_examples=100 if "CI" in os.environ else 25,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    print_blob=True,
    derandomize="CI" in os.environ,
)
settings.load_profile("any machine")

# Hypothesis reads each file of a source tree for constants to try: 10 s of processor for every worker in a
# fresh clone. Of an installed wheel it reads none. Here it reads none either, so both take the same examples.
# No option of it says so, hence the bound on its version.
if hasattr(providers, "is_local_module_file"):
    providers.is_local_module_file = lambda path: False

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A shell has what it starts in the background ignore the interrupt, and everything below inherits
    # that: on a test's terminal Ctrl-C would then do nothing.
    signal.signal(signal.SIGINT, signal.default_int_handler)


# A search for garbage goes through all that was made since; by itself there is one for every 700 objects.
gc.set_threshold(10_000)


def pytest_xdist_auto_num_workers() -> int:
    """One worker more than cores: tests that start a process or a server wait for it."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return cores + 1


TABLES = 16  # of the film's steps: a run meets many resins, as a process that looks at many sheds does


def pytest_collection_finish() -> None:
    """All tests stay to the end: no search for garbage goes through them again. Nor is a table made twice."""
    gc.freeze()
    if flow_map := sys.modules.get("curewatch.model.film.flow_map"):
        flow_map.SHELF.most = TABLES


@pytest.fixture(autouse=True)
def leaves_as_found() -> Iterator[None]:
    """A test that changes what all share fails itself, and not one that comes later."""
    with unchanged():
        yield


@pytest.fixture(scope="session")
def database_server():
    """One small PostgreSQL a session (``tests.database``)."""
    from tests.database import one_server

    yield from one_server()


@pytest.fixture
def server(database_server):
    """That server. A test that must change it starts one of its own."""
    from tests.database import shared_of

    before = shared_of(database_server)
    yield database_server
    after = shared_of(database_server)
    changed = [name for name in before if before[name] != after[name]]
    assert not changed, "a test changed the server that all share: start one of its own"


# The rules of the advice, the laws they rest on, what comes in and what is kept: while somebody works
QUICK = (
    "advice_verdict",
    "alert_rules",
    "cautions",
    "film",
    "glass_published",
    "halves",
    "logbook",
    "moist_air",
    "rules",
    "salt_check",
    "senml_published",
    "typed",
    "wire_forms",
    "wire_lines",
    "wire_plausibility",
    "wire_units",
)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Do not even read the other files where the quick ones are asked for."""
    name = collection_path.stem
    if config.option.markexpr == "quick" and name.startswith("test_") and collection_path.suffix == ".py":
        return name.removeprefix("test_") not in QUICK
    return None


@pytest.hookimpl(tryfirst=True)
def pytest_collection(session: pytest.Session) -> None:
    """Share out what is compiled in a fresh clone: each worker first imports every nth file of tests."""
    worker = os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw")
    workers = int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1"))
    folders = [Path(argument) for argument in session.config.args if Path(argument).is_dir()]
    files = sorted({file for folder in folders for file in folder.resolve().rglob("test_*.py")})
    for file in files[int(worker) :: workers] if workers > 1 else ():
        if not pytest_ignore_collect(file, session.config):
            with suppress(Exception, pytest.skip.Exception):  # told when it is collected
                _ = pytest.Module.from_parent(session, path=file).obj


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what is quick, and of a rule with many cases those that are long; put first what takes seconds."""
    cases = defaultdict(list)
    for item in items:
        if item.get_closest_marker("long"):
            continue
        if item.path.stem.removeprefix("test_") in QUICK:
            item.add_marker("quick")
        if few := item.get_closest_marker("few"):
            cases[item.nodeid.partition("[")[0], few.args[0]].append(item)
    for (_, count), own in cases.items():
        own.sort(key=lambda item: item.nodeid)  # the same ones each time, whatever the order of the run
        for item in own[count:]:
            item.add_marker("long")
    items.sort(key=lambda item: item.get_closest_marker("first") is None)
