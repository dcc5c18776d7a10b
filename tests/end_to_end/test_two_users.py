"""The service under its own user, its owner under another, both real: what the owner does at the bench works.

The daemon is started as the unit says: its user and group, its mask, its command. Users are made for the
test and taken away after it, so it needs root; elsewhere it stands aside.
"""

import configparser
import json
import os
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pexpect
import pytest

import curewatch
from curewatch.cli.commands.service import unit
from curewatch.logbook.forwarded import socket_path
from curewatch.shed import learnt
from tests.broker import PATIENCE, until
from tests.running import zone_at_noon

# of this process: another worker, or another run beside it, has users of its own
SERVICE, OWNER, STRANGER = (f"cw-test-{who}-{os.getpid()}" for who in ("service", "owner", "stranger"))
pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(
        os.geteuid() != 0 or shutil.which("useradd") is None, reason="makes users: needs root"
    ),
]


@pytest.fixture(scope="module")
def users() -> Iterator[None]:
    """A service's user with its group, an owner who is of that group, and a stranger."""
    made = [
        ["useradd", "--system", "--user-group", "--no-create-home", SERVICE],
        ["useradd", "--no-create-home", "--groups", SERVICE, OWNER],
        ["useradd", "--no-create-home", STRANGER],
    ]
    try:
        for command in made:
            subprocess.run(command, check=True, capture_output=True)
        yield
    finally:
        for name in (OWNER, STRANGER, SERVICE):
            subprocess.run(["userdel", name], check=False, capture_output=True)


def as_user(user: str, mask: str, command: list[str]) -> list[str]:
    return ["runuser", "-u", user, "--", "sh", "-c", f'umask {mask}; exec "$@"', "sh", *command]


class Program:
    """An interpreter and its libraries that every user may run.

    What lies where another user may not look stands in a folder of our own, linked and not copied where
    that can be.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        base = Path(sys.base_prefix)
        home = self._open(base)
        self.python = str(home / Path(sys.executable).resolve().relative_to(base.resolve()))
        self._own = {} if home == base else {"LD_LIBRARY_PATH": str(home / "lib")}
        libraries = [Path(one) for one in sys.path if "site-packages" in one]
        package = Path(curewatch.__file__).parent
        if package.parent not in libraries:
            self._open(package, folder / "package" / package.name)
            libraries.append(folder / "package")
        self.path = os.pathsep.join(str(self._open(one)) for one in libraries)
        load = "import curewatch.daemon.loop, sys; print(sys.modules['curewatch'].__file__)"
        asked = as_user(STRANGER, "022", [self.python, "-c", load])
        ran = subprocess.run(
            asked, env=self.environment(), cwd=folder, capture_output=True, text=True, check=False
        )
        assert ran.returncode == 0, ran.stderr

    def environment(self, **more: str) -> dict[str, str]:
        return {
            "PATH": os.environ["PATH"],
            "PYTHONPATH": self.path,
            "HOME": "/nonexistent",
            **self._own,
            **more,
        }

    def _open(self, place: Path, copy: Path | None = None) -> Path:
        """The place itself where a stranger may read it, else a copy."""
        look = as_user(STRANGER, "022", ["test", "-r", str(place), "-a", "-x", str(place)])
        if copy is None:
            if not place.exists() or subprocess.run(look, check=False).returncode == 0:
                return place
            copy = self._folder / f"{len(list(self._folder.iterdir()))}-{place.name}"
        shutil.copytree(place, copy, symlinks=True, copy_function=_linked)
        return copy


def _linked(source: str, copy: str) -> None:
    try:
        os.link(source, copy, follow_symlinks=False)
    except OSError:  # another disk
        shutil.copy2(source, copy, follow_symlinks=False)


class Board:
    """A port elsewhere that says two sensors' words, ten times a second."""

    def __init__(self) -> None:
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = self._listening.getsockname()[1]
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        self._listening.settimeout(0.2)
        while not self._over.is_set():
            try:
                far, _ = self._listening.accept()
            except TimeoutError:
                continue
            with far:
                while not self._over.wait(0.1):
                    try:
                        far.sendall(b"sensor=bench T=9.1 RH=96\nsensor=hull T=8.9\n")
                    except OSError:
                        break

    def close(self) -> None:
        self._over.set()
        self._thread.join()
        self._listening.close()


class Service:
    """The unit's daemon, and people's commands beside it."""

    def __init__(self, folder: Path, program: Program, port: int) -> None:
        self.program = program
        self.state, self.config = folder / "state", folder / "etc" / "curewatch.toml"
        self.logbook, self.rung = self.state / "logbook.sqlite", self.state / "rung.jsonl"
        parser = configparser.RawConfigParser(strict=False)
        parser.optionxform = str  # type: ignore[assignment,method-assign]
        parser.read_string(unit(Path("/usr/bin/curewatch")))
        self.unit = dict(parser["Service"])
        self.python = program.python
        self._laid_out(folder, port)
        _, command, *options = shlex.split(self.unit["ExecStart"].replace("curewatch.toml", "x").strip())
        assert (command, options[0], options[2]) == ("ingest", "--config", "--for-group")
        daemon = [
            self.python,
            "-m",
            "curewatch",
            command,
            "--config",
            str(self.config),
            "--for-group",
            SERVICE,
        ]
        self.journal = (folder / "journal.txt").open("wb+")
        self.process = subprocess.Popen(
            as_user(SERVICE, self.unit["UMask"], daemon),
            env=self.program.environment(XDG_DATA_HOME="/var/lib"),
            cwd="/",
            stdout=self.journal,
            stderr=subprocess.STDOUT,
        )

    def _laid_out(self, folder: Path, port: int) -> None:
        """As systemd and the steps in the unit do it."""
        self.state.mkdir()
        shutil.chown(self.state, SERVICE, SERVICE)
        self.state.chmod(int(self.unit["StateDirectoryMode"], 8))
        bell = folder / "bell"
        bell.write_text(f"#!/bin/sh\ncat >> {self.rung}\n")
        bell.chmod(0o755)
        self.config.parent.mkdir()
        self.config.write_text(
            f'[shed]\nname = "Saltmarsh Shed"\nzone = "{zone_at_noon()}"\n'
            f'[sensors.bench]\nrole = "air"\nevery_s = 5\n[sensors.hull]\n'
            f'role = "surface"\nevery_s = 5\n[serial.far]\nurl = "socket://127.0.0.1:{port}"\n'
            f'[notices]\ncommand = ["{bell}"]\ntimeout_s = 60\n[logbook]\npath = "{self.logbook}"\n'
        )
        shutil.chown(self.config, "root", SERVICE)
        self.config.chmod(0o640)

    def run(self, user: str, *words: str) -> subprocess.CompletedProcess[str]:
        command = [self.python, "-m", "curewatch", *words]
        return subprocess.run(
            as_user(user, "022", command),
            env=self.program.environment(CUREWATCH_CONFIG=str(self.config)),
            cwd="/",
            capture_output=True,
            text=True,
            check=False,
            timeout=PATIENCE,
        )

    def presses(self, user: str, *lines: str) -> None:
        """The keys of the bench, at a terminal of their own."""
        command = as_user(user, "022", [self.python, "-m", "curewatch", "bench", "--plain"])
        there = self.program.environment(CUREWATCH_CONFIG=str(self.config), TERM="xterm")
        page = pexpect.spawn(command[0], command[1:], env=there, cwd="/", timeout=PATIENCE, encoding="utf-8")
        page.expect("8 note")
        for line in lines:
            page.sendline(line)
        page.expect(pexpect.EOF)
        page.close()

    def says(self) -> str:
        self.journal.seek(0)
        return self.journal.read().decode()

    def stop(self) -> None:
        self.process.send_signal(signal.SIGTERM)
        self.process.wait(PATIENCE)
        self.journal.close()


@pytest.fixture(scope="module")
def service(users: None) -> Iterator[Service]:
    folder = Path(tempfile.mkdtemp(prefix="cw-service-"))  # pytest's own folders are for their owner alone
    folder.chmod(0o755)
    board = Board()
    (folder / "program").mkdir()
    try:
        made = Service(folder, Program(folder / "program"), board.port)
        try:
            until(lambda: socket_path(made.logbook).exists() and heard(made) == {"bench", "hull"})
            yield made
        finally:
            made.stop()
    finally:
        board.close()
        shutil.rmtree(folder)


def heard(service: Service) -> set[str]:
    """Sensors with a reading in the logbook."""
    from curewatch.logbook import Logbook

    with Logbook(service.logbook, read_only=True) as logbook:
        return {name for name, one in logbook.sensors().items() if one.readings}


BENCH = (
    ("job", "open", "--name", "rudder-cheek", "--title", "new rudder cheek", "--by", "Reed"),
    ("job", "batch", "--resin-mass", "150 g", "--hardener-mass", "33 g"),
    ("layer", "--batch", "B1"),
    ("observe", "gelled", "--force"),
    ("job", "note", "--text", "dry"),
    ("bench",),
    ("alerts",),
    ("job", "show"),
    ("watch", "--once"),
    ("logbook", "status"),
    ("logbook", "verify"),
    ("job", "close", "--outcome", "done"),
)


def entries(service: Service) -> list[dict[str, Any]]:
    from curewatch.logbook import Logbook

    with Logbook(service.logbook, read_only=True) as logbook:
        return [{"kind": one.kind, **one.payload} for one in logbook.entries()]


def test_the_owner_works_at_the_bench_beside_the_service(service: Service) -> None:
    """Every command of an evening; each entry says which login told it; the files are the service's alone."""
    before = len(entries(service))
    for words in BENCH:
        if words[0] == "observe":
            time.sleep(learnt.APART)  # after the layer
        if words == ("bench",):
            service.presses(OWNER, "8", "it rains", "q")
            continue
        done = service.run(OWNER, *words)
        assert done.returncode in {0, 3, 4}, (words, done.stdout, done.stderr)
        assert "Traceback" not in done.stderr
    told = [one for one in entries(service)[before:] if one.get("user") == OWNER]
    kinds = ["job-open", "batch", "layer", "observation", "note", "note", "job-close"]
    assert [one["kind"] for one in told] == kinds
    assert [one["text"] for one in told if one["kind"] == "note"] == ["dry", "it rains"]
    assert sum(one["kind"] == "seal" for one in entries(service)) == 1
    for file in service.state.iterdir():
        mode = file.stat()
        assert file.owner() == SERVICE, file
        assert mode.st_mode & 0o007 == 0, file
        assert file.suffix == ".socket" or not mode.st_mode & 0o020, file


def test_a_stranger_is_let_in_nowhere(service: Service) -> None:
    """Not by the file, not by the socket, not even where the socket's mode lets everybody in."""
    before = len([one for one in entries(service) if "user" in one])
    assert service.run(STRANGER, "job", "note", "--text", "forged").returncode != 0
    request = '{"do":"append","entries":[{"kind":"note","payload":{"text":"forged"},"at":0}]}\n'
    ask = (
        "import socket,sys;s=socket.socket(socket.AF_UNIX);s.connect(sys.argv[1]);"
        "s.sendall(sys.argv[2].encode());print(s.recv(4096).decode())"
    )
    far, own = socket_path(service.logbook), service.program.environment()
    asked = as_user(STRANGER, "022", [service.python, "-c", ask, str(far), request])
    assert (
        "PermissionError"
        in subprocess.run(asked, env=own, capture_output=True, text=True, check=False).stderr
    )
    state_mode, mode = service.state.stat().st_mode, far.stat().st_mode
    service.state.chmod(0o755)
    far.chmod(0o666)
    try:
        said = subprocess.run(asked, env=own, capture_output=True, text=True, check=False).stdout
        assert "not of the group" in json.loads(said)["trouble"]
        owner = as_user(OWNER, "022", [service.python, "-c", ask, str(far), request])
        assert "lines" in json.loads(
            subprocess.run(owner, env=own, capture_output=True, text=True, check=False).stdout
        )
    finally:
        service.state.chmod(state_mode)
        far.chmod(mode)
    assert len([one for one in entries(service) if "user" in one]) == before + 1, "the owner's alone"


def test_the_alert_command_runs_under_the_service(service: Service) -> None:
    """Damp air over a cold hull rings; the command has the event on its standard input."""
    until(lambda: service.rung.exists() and service.rung.read_text().strip())
    assert service.run(OWNER, "alerts", "--acknowledge", "all", "--by", "Reed").returncode == 0
    acknowledged = [one for one in entries(service) if one.get("happening") == "acknowledged"]
    assert acknowledged[0]["user"] == OWNER
    # two notices to one receiver are a minute apart (`outbox.URGENT_BETWEEN`)
    until(lambda: "acknowledged" in service.rung.read_text())
    event = json.loads(service.rung.read_text().splitlines()[0])["alerts"][0]
    assert event["happening"] == "raised"
    assert service.rung.owner() == SERVICE
    where = Path(json.loads(_example_command())[0])
    assert not any(
        where.is_relative_to(hidden) for hidden in ("/home", "/root", "/run/user", "/tmp", "/var/tmp")
    )


def _example_command() -> str:
    from curewatch.configuration import example

    line = next(one for one in example().splitlines() if one.startswith("# command = "))
    return line.removeprefix("# command = ").partition("   #")[0]
