"""What all tests of a process share, and any of them could change.

A fixture of monkeypatch is undone before the look at the end, so its changes do not count.
"""

import logging
import os
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGPIPE, signal.SIGCHLD, signal.SIGALRM)
OF_PYTEST = "PYTEST_CURRENT_TEST"  # says "setup", then "teardown"


def shared_state() -> dict[str, Any]:
    """The state, by name; a variable of the environment stands for itself."""
    numpy = sys.modules.get("numpy")
    mask = os.umask(0o022)
    os.umask(mask)
    variables = {f"variable {name}": value for name, value in os.environ.items() if name != OF_PYTEST}
    return variables | {
        "folder": Path.cwd(),
        "umask": mask,
        "signals": {number: signal.getsignal(number) for number in SIGNALS},
        "zone": time.tzname,
        "errors of numpy": numpy.geterr() if numpy else None,
        "logging": logging.root.manager.disable,
        "recursion": sys.getrecursionlimit(),
    }


def put_back(before: dict[str, Any]) -> None:
    """What was changed is as before."""
    kept = {name.removeprefix("variable "): before[name] for name in before if name.startswith("variable ")}
    for name in set(os.environ) - set(kept) - {OF_PYTEST}:
        del os.environ[name]
    os.environ.update(kept)
    time.tzset()
    os.chdir(before["folder"])
    os.umask(before["umask"])
    for number, handler in before["signals"].items():
        signal.signal(number, handler)
    if before["errors of numpy"]:
        sys.modules["numpy"].seterr(**before["errors of numpy"])
    logging.disable(before["logging"])
    sys.setrecursionlimit(before["recursion"])


@contextmanager
def unchanged() -> Iterator[None]:
    """Fail whoever leaves something changed, and put it back, so that nobody else fails by it."""
    before = shared_state()
    yield
    after = shared_state()
    before["errors of numpy"] = before["errors of numpy"] or after["errors of numpy"]  # imported meanwhile
    changed = sorted(name for name in before.keys() | after.keys() if before.get(name) != after.get(name))
    if changed:
        put_back(before)
    assert not changed, f"a test must leave this as it found it: {', '.join(changed)}"
