"""One record of the demo's job, written once, for every attack on it."""

import pickle
import shutil
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from curewatch.logbook import Logbook
from curewatch.logbook.keys import key_path, load_key
from curewatch.record import layer_history
from curewatch.record.proof import FILES
from curewatch.record.verification import verify_files
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import Sealed, need


@pytest.fixture(scope="session")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Sealed:
    """The record of the rudder cheek, its seal and its key. Nobody writes into its logbook."""
    place = tmp_path_factory.mktemp("record")
    closing = world.fill(place / "logbook.sqlite", step=900.0)
    with Logbook(place / "logbook.sqlite") as logbook:
        written = write(logbook, world.JOB, place, at=world.OPENED + 5 * DAY)
        key = load_key(key_path(logbook.path))
    assert written.folder is not None
    assert written.pdf is not None
    files = {name: (written.folder / name).read_bytes() for name in FILES}
    path = place / "logbook.sqlite"
    pages = verify_files(files).pages
    return Sealed(files, closing, key, written.folder, written.pdf.read_bytes(), path, pages)


MOST_FOLLOWED = 64
_followed: dict[bytes, Any] = {}  # by all that was asked; at most MOST_FOLLOWED


def _followed_once(*asked: Any) -> Any:
    key = pickle.dumps(asked)
    if key not in _followed:
        if len(_followed) >= MOST_FOLLOWED:
            del _followed[next(iter(_followed))]
        _followed[key] = _cures_of_parts(*asked)
        for array in (each for one in _followed[key] for each in one if isinstance(each, np.ndarray)):
            array.flags.writeable = False
    return _followed[key]


_cures_of_parts = layer_history.cures_of_parts


@pytest.fixture(autouse=True)
def layers_are_followed_once() -> Iterator[None]:
    """Each check of a record follows its layers anew: here the same layer on the same path only once.

    Attacks are on what is told and kept. That a record is reckoned anew, and found the same, ``unit`` holds.
    """
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(layer_history, "cures_of_parts", _followed_once)
        yield


@pytest.fixture(autouse=True)
def sealed_stays(request: pytest.FixtureRequest) -> Iterator[None]:
    """A test that writes into the record that all share fails itself, and not one that comes later."""
    asked = "sealed" in request.fixturenames
    before = _digests(request.getfixturevalue("sealed")) if asked else {}
    yield
    after = _digests(request.getfixturevalue("sealed")) if asked else {}
    assert before == after, "a test changed the record that all share: copy it first"


def _digests(sealed: Sealed) -> dict[str, bytes]:
    """All that is kept of the record, in memory and on the disk. A reader may leave an empty log there."""
    files = (each for each in sealed.logbook.parent.rglob("*") if each.is_file())
    kept = {
        **sealed.files,
        **{str(each): each.read_bytes() for each in files if each.suffix != ".sqlite-shm"},
    }
    return {name: sha256(content).digest() for name, content in kept.items() if content}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where an attacked record is put."""
    return tmp_path / "attacked"


@pytest.fixture(scope="session")
def few_tools(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A path with busybox and openssl and nothing else."""
    need("busybox", "openssl")
    place = tmp_path_factory.mktemp("tools")
    box = shutil.which("busybox") or ""
    for name in (
        *("sh", "sha256sum", "awk", "find", "xargs", "sort", "uniq", "cmp", "od", "tr", "sed", "grep", "cut"),
        *("head", "tail", "wc", "cat", "cp", "mv", "rm", "mktemp", "dirname", "basename", "date"),
    ):
        (place / name).symlink_to(box)
    (place / "openssl").symlink_to(shutil.which("openssl") or "")
    return str(place)
