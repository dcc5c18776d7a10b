"""A real PostgreSQL for tests: servers of our own in a folder of /tmp, on a socket in it, never on a port.

Under CUREWATCH_REQUIRE_SYSTEM_TOOLS=1 a missing server is a failure. It refuses to run as root: then it runs
as the user ``postgres``, or ``nobody``.
"""

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from tests.broker import PATIENCE, REQUIRED, until

FOUND = sorted(Path("/usr/lib/postgresql").glob("*/bin/postgres"), key=lambda file: int(file.parts[-3]))
TENANTS = ("saltmarsh", "kittiwake")
QUICK = ("fsync = off", "full_page_writes = off")


def needs_postgres() -> None:
    """Stand aside where no server is installed; fail where it is required."""
    there = bool(FOUND) and int(FOUND[-1].parts[-3]) >= 15
    assert there or not REQUIRED, "PostgreSQL 15 or later is required here and is not installed"
    if not there:
        pytest.skip("needs PostgreSQL 15 or later")
    pytest.importorskip("psycopg")


def _account() -> dict[str, Any]:
    """Under which user a server runs."""
    if os.geteuid() != 0:
        return {}
    for name in ("postgres", "nobody"):
        with suppress(KeyError):
            found = pwd.getpwnam(name)
            return {"user": found.pw_uid, "group": found.pw_gid, "extra_groups": []}
    raise AssertionError("no user that a server can run as")


class DatabaseServer:
    """A server process that can be killed, started again, copied as a standby and promoted."""

    def __init__(self, name: str = "one", *settings: str) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix=f"curewatch-{name}-", dir="/tmp"))
        self.settings = settings
        self.account = _account()
        self.under: tuple[str, ...] = ()  # a command that runs the server, as its user
        if self.account:
            os.chown(self.folder, self.account["user"], self.account["group"])
        self.data = self.folder / "data"
        self.process: subprocess.Popen[bytes] | None = None
        self.watch: subprocess.Popen[bytes] | None = None

    def run(self, tool: str, *arguments: str) -> None:
        """One of the server's tools, to its end."""
        done = subprocess.run(
            [str(FOUND[-1].with_name(tool)), *arguments],
            capture_output=True,
            text=True,
            cwd=self.folder,
            check=False,
            timeout=PATIENCE,
            **self.account,
        )
        assert done.returncode == 0, f"{tool}: {done.stderr}"

    def make(self) -> "DatabaseServer":
        """An empty cluster, whoever comes over the socket is let in."""
        self.run(
            "initdb",
            "-D",
            str(self.data),
            "-A",
            "trust",
            "-U",
            "owner",
            "-E",
            "UTF8",
            "--locale=C",
            "--no-sync",
        )
        return self

    def start(self) -> "DatabaseServer":
        lines = [
            "listen_addresses = ''",
            f"unix_socket_directories = '{self.folder}'",
            "shared_buffers = 16MB",
            "max_connections = 40",
            "autovacuum = off",
            "wal_level = replica",
            *self.settings,
        ]
        (self.data / "postgresql.auto.conf").write_text("\n".join(lines) + "\n")
        with (self.folder / "log").open("ab") as log:
            command = [*self.under, str(FOUND[-1]), "-D", str(self.data)]
            account = {} if self.under else self.account
            self.process = subprocess.Popen(
                command, stdout=log, stderr=log, start_new_session=True, **account
            )
        # a server whose tests were killed ends, too: then this pipe closes
        end = 'read never; kill -INT "$0"'
        self.watch = subprocess.Popen(["sh", "-c", end, str(self.process.pid)], stdin=subprocess.PIPE)
        until(self._answers)
        return self

    def _answers(self) -> bool:
        assert self.process is not None
        assert self.process.poll() is None, (self.folder / "log").read_text()[-2000:]
        with suppress(self._errors()), self.connect("postgres"):
            return True
        return False

    @staticmethod
    def _errors() -> Any:
        import psycopg

        return psycopg.OperationalError

    def connect(self, database: str = "sheds", user: str = "owner", **options: Any) -> Any:
        """A plain connection."""
        import psycopg

        return psycopg.connect(
            host=str(self.folder), dbname=database, user=user, autocommit=True, connect_timeout=5, **options
        )

    def address(
        self,
        file: Path,
        shed: str,
        user: str = "saltmarsh",
        *,
        others: Sequence["DatabaseServer"] = (),
        database: str = "sheds",
    ) -> Path:
        """A file that names this shed; with others, whichever of them takes writing."""
        hosts = ",".join(str(one.folder) for one in (self, *others))
        users = f"{user}@{',' * len(others)}"
        file.write_text(f"postgresql://{users}/{database}?host={hosts}&shed={shed}\n")
        return file

    def prepared(self, database: str = "sheds") -> "DatabaseServer":
        """With a database of sheds, our tables, and two tenants."""
        from curewatch.logbook.postgres.layouts import prepare

        with self.connect("postgres") as connection:
            connection.execute(f"CREATE DATABASE {database}")
            prepare(self.address(self.folder / "owner.address", "none", "owner", database=database))
            there = {name for (name,) in connection.execute("SELECT rolname FROM pg_roles")}
            for one in set(TENANTS) - there:
                connection.execute(f"CREATE ROLE {one} LOGIN IN ROLE curewatch_tenant")
        return self

    def stop(self, number: int = signal.SIGINT) -> None:
        """SIGINT: connections are ended, the log is written out."""
        self._end_watch()
        if self.process is not None:
            self.process.send_signal(number)
            self.process.wait(PATIENCE)
            self.process = None

    def kill(self) -> None:
        """All of its processes at once, as when the machine goes."""
        self._end_watch()
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait(PATIENCE)
            self.process = None
            until(lambda: not (self.data / "postmaster.pid").exists() or self._gone())

    def _end_watch(self) -> None:
        watch, self.watch = self.watch, None
        if watch is not None and watch.stdin is not None:
            watch.kill()
            watch.wait(PATIENCE)
            watch.stdin.close()

    def _gone(self) -> bool:
        (self.data / "postmaster.pid").unlink(missing_ok=True)
        time.sleep(0.1)
        return True

    def standby(self, name: str, *settings: str) -> "DatabaseServer":
        """A copy of this server that follows it under this name."""
        other = DatabaseServer(name, *settings)
        source = ("-h", str(self.folder), "-U", "owner", "-X", "stream", "-c", "fast")
        other.run("pg_basebackup", *source, "-D", str(other.data))
        (other.data / "standby.signal").touch()
        follow = f"host={self.folder} user=owner application_name={name}"
        other.settings = (*settings, f"primary_conninfo = '{follow}'", "hot_standby = on")
        return other.start()

    def promote(self) -> None:
        """A standby becomes the primary."""
        with self.connect("postgres") as connection:
            connection.execute("SELECT pg_promote(true, 240)")

    def remove(self) -> None:
        self.stop(signal.SIGQUIT)
        shutil.rmtree(self.folder, ignore_errors=True)


def one_server() -> Iterator[DatabaseServer]:
    """One small server a session, with our tables; nothing waits for the disk."""
    needs_postgres()
    made = DatabaseServer("one", *QUICK)
    try:
        yield made.make().start().prepared()
    finally:
        made.remove()


def shared_of(server: DatabaseServer) -> dict[str, Any]:
    """What all tests share of a server: its process, its settings, its roles. Databases may be added."""
    asked = {
        "roles": "SELECT * FROM pg_roles ORDER BY rolname",
        "settings of roles": "SELECT * FROM pg_db_role_setting WHERE setdatabase = 0 ORDER BY setrole",
        "members": "SELECT roleid, member FROM pg_auth_members ORDER BY 1, 2",
    }
    with server.connect("sheds") as owner:
        found = {name: owner.execute(question).fetchall() for name, question in asked.items()}
    settings = (server.data / "postgresql.auto.conf").read_text()
    return found | {"process": server.process and server.process.pid, "settings": settings}
