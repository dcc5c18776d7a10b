"""One connection to the database, set up for one shed of one tenant, and made anew when it was lost."""

import re
import time
from collections.abc import Callable
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from curewatch.errors import StoreFailed
from curewatch.logbook.postgres import layouts
from curewatch.logbook.postgres.address import Address
from curewatch.logbook.postgres.telling import STANDBY, library

Found = TypeVar("Found")

SETTINGS = (
    "SET search_path = curewatch",
    "SET lock_timeout = '5s'",  # another writer's commit
    "SET idle_in_transaction_session_timeout = '60s'",  # a writer that stands still
    # acknowledged is what the disk and the standby have, whatever the role's own setting
    """SELECT set_config('synchronous_commit', 'on', false)
        WHERE current_setting('synchronous_commit') IN ('off', 'local', 'remote_write')""",
)
PATIENCE = 10.0  # for a server that went away in the middle of a commit [s]
HOLDERS = 0x686F6C64  # advisory locks of daemons: "hold"


@lru_cache(maxsize=256)
def translated(question: str) -> str:
    """SQL of ``tables`` as psycopg and these tables want it."""
    named = re.sub(r":([a-z]+)", r"%(\1)s", question.replace("?", "%s"))
    return named.replace("ON CONFLICT (", "ON CONFLICT (shed, ")


class DatabaseSession:
    """A connection while it lasts. ``shed`` is its number in the database."""

    def __init__(self, path: Path, address: Address, *, read_only: bool) -> None:
        self._path = path
        self._address = address
        self._read_only = read_only
        self._held = ""
        self._library = library()
        self._connection: Any = None
        self.connection()

    def connection(self) -> Any:
        """The connection that lasts, or a new one."""
        if self._connection is None or self._connection.closed:
            self._connection = self._connected()
        return self._connection

    @property
    def lost(self) -> bool:
        """Whether the connection broke."""
        return self._connection is None or bool(self._connection.closed)

    def asked(self, question: Callable[[Any], Found]) -> Found:
        """An answer outside of a commit; if the connection was lost meanwhile, asked once more."""
        try:
            return question(self.connection())
        except self._library.Error as trouble:
            if not self.gone(trouble):
                raise
            return question(self.connection())

    def gone(self, trouble: Exception) -> bool:
        """Whether this error is of the connection, which is then given up in whatever state it seems."""
        code = getattr(trouble, "sqlstate", None)
        gone = self.lost or code is None or code[:2] in ("08", "57")
        if gone:
            self.close()
        return gone

    def patiently(self, question: Callable[[Any], Found]) -> Found:
        """An answer from a server that may be away for some seconds."""
        until = time.monotonic() + PATIENCE
        while True:
            try:
                return question(self.connection())
            except (self._library.Error, StoreFailed):
                if time.monotonic() > until:
                    raise
                if not self.lost:
                    self._connection.close()
                time.sleep(0.1)

    def hold(self, holder: str) -> str | None:
        """Become the one daemon of this shed; who is, if another."""
        connection = self.connection()
        if not self._take_hold(connection):
            named = connection.execute("SELECT holder FROM sheds WHERE number = this_shed()")
            return str(named.fetchone()[0])
        self._held = holder
        connection.execute("UPDATE sheds SET holder = %s WHERE number = this_shed()", (holder,))
        return None

    def let_go(self) -> None:
        """Hold the shed no more."""
        held, self._held = self._held, ""
        if held and not self.lost:
            with suppress(self._library.Error):  # a session that breaks here has let go, too
                self._connection.execute("SELECT pg_advisory_unlock(%s, this_shed())", (HOLDERS,))

    def close(self) -> None:
        """Leave the server."""
        if self._connection is not None:
            self._connection.close()

    def _connected(self) -> Any:
        wanted = "read-write" if self._address.several and not self._read_only else "any"
        made = self._library.connect(self._address.database, autocommit=True, target_session_attrs=wanted)
        try:
            self._set_up(made)
        except BaseException:
            made.close()
            raise
        return made

    def _set_up(self, made: Any) -> None:
        if not self._read_only and made.execute("SHOW transaction_read_only").fetchone()[0] == "on":
            raise StoreFailed(f"logbook {self._path}: {STANDBY}")
        made.adapters.register_loader("numeric", self._library.types.numeric.IntLoader)  # sums
        for setting in SETTINGS:
            made.execute(setting)
        if made.execute("SELECT to_regclass('curewatch.layout')").fetchone()[0] is None:
            layouts.check(0, self._path)
        layouts.check(made.execute("SELECT coalesce(max(number), 0) FROM layout").fetchone()[0], self._path)
        if not made.execute("SELECT row_security_active('chain')").fetchone()[0]:
            raise StoreFailed(
                f"logbook {self._path}: found a role that sees every tenant's rows. Use a role of its own, "
                "without SUPERUSER or BYPASSRLS"
            )
        if self._read_only:
            made.execute("SET default_transaction_read_only = on")
        made.execute("SELECT set_config('curewatch.shed', %s, false)", (str(self._shed(made)),))
        if self._held and not self._take_hold(made):
            raise StoreFailed(f"logbook {self._path}: another daemon took it while the connection was lost")

    def _take_hold(self, made: Any) -> bool:
        taken = made.execute("SELECT pg_try_advisory_lock(%s, this_shed())", (HOLDERS,)).fetchone()[0]
        return bool(taken)

    def _shed(self, made: Any) -> int:
        ours = "SELECT number FROM sheds WHERE tenant = current_user AND name = %s"
        found = made.execute(ours, (self._address.shed,)).fetchone()
        if found is None and self._read_only:
            raise StoreFailed(
                f"logbook {self._path}: there is no shed {self._address.shed} in the database; "
                "`curewatch ingest` or `watch` begins it"
            )
        if found is None:
            made.execute("INSERT INTO sheds (name) VALUES (%s) ON CONFLICT DO NOTHING", (self._address.shed,))
            found = made.execute(ours, (self._address.shed,)).fetchone()
        return int(found[0])
