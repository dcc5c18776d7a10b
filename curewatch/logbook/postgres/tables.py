"""The tables of one shed's logbook in a PostgreSQL database.

Theory of operation
-------------------
A commit begins by locking the shed's row, so writers wait for each other, and by looking at the head: if it
is not the one that we left, another has written. Rows of the open block are appended to ``tail`` and packed
when it is closed: rewriting the block with each commit would put it into the write-ahead log each time.

A connection that is lost while a commit ends leaves open whether it was stored. Each writer counts its
commits in ``writers``, inside them. After reconnecting, the shed's row is locked, which waits for what is
left of the lost session, and the count tells. If no server answers for some seconds, the commit fails, and
the next one asks first.
"""

from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from typing import Any
from uuid import uuid4

from curewatch.errors import StoreFailed
from curewatch.logbook import chain, rows
from curewatch.logbook.block import OpenBlock
from curewatch.logbook.postgres.session import DatabaseSession, translated
from curewatch.logbook.postgres.telling import library
from curewatch.logbook.tables import Answer

LOCK = "SELECT FROM sheds WHERE number = this_shed() FOR UPDATE"
_LAST = "SELECT number, head, closed FROM chain ORDER BY number DESC LIMIT 1"
_LAY = (
    "INSERT INTO chain (number, form, closed, opened, previous, readings, readings_digest, entries,"
    " entries_digest, head, body) VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s)"
    " ON CONFLICT (shed, number) DO UPDATE SET closed = excluded.closed, opened = excluded.opened,"
    " readings = excluded.readings, readings_digest = excluded.readings_digest,"
    " entries = excluded.entries, entries_digest = excluded.entries_digest,"
    " head = excluded.head, body = excluded.body"
)
_COUNT = (
    "INSERT INTO writers (writer, commits) VALUES (%s, %s) ON CONFLICT (shed, writer)"
    " DO UPDATE SET commits = excluded.commits, at = now()"
)
_FORGET = "DELETE FROM writers WHERE writer = %s OR at < now() - interval '30 days'"

Standing = tuple[int, str, bool]  # the last block: number, head, whether it is closed


class PostgresTables:
    """Over a session; ``kept_after_all`` says that a commit which failed was found to be stored."""

    def __init__(self, session: DatabaseSession) -> None:
        self._session = session
        self._error = library().Error
        self._inside: Any = None  # the connection, inside a commit or a still view
        self._views = ExitStack()  # what is read in a still view
        self._left: Standing | None = None  # how our last commit left the chain
        self._standing: Standing | None = None
        self._writer = uuid4()
        self._commits = 0
        self._unsure = False  # whether the last commit is stored is not known
        self.kept_after_all = False

    # -- asking

    def execute(self, question: str, values: Any = (), /) -> Answer:
        """Inside a commit in it, else by itself."""
        words = translated(question)
        if self._inside is not None:
            answer: Answer = self._inside.execute(words, values)
            return answer
        found: Answer = self._session.asked(lambda connection: connection.execute(words, values))
        return found

    def executemany(self, question: str, values: Iterable[Any], /) -> None:
        """Inside a commit: all of them on one way to the server."""
        given = list(values)
        if given:
            self._inside.cursor().executemany(translated(question), given)

    def each(self, question: str, values: Any = (), /) -> Iterable[Any]:
        """Inside a still view a hundred rows at a time, else all at once."""
        if self._inside is None:
            return self.execute(question, values)
        cursor = self._views.enter_context(self._inside.cursor(name=f"each_{uuid4().hex}"))
        rows_: Iterable[Any] = cursor.execute(translated(question), values)
        return rows_

    @contextmanager
    def still(self) -> Iterator[None]:
        """All that is read inside is of one moment."""
        self._inside = self._session.asked(
            lambda connection: (
                connection.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY") and connection
            )
        )
        try:
            with ExitStack() as self._views:
                yield
        finally:
            self._leave()

    # -- a commit

    @contextmanager
    def commit(self) -> Iterator[bool]:
        """One commit, alone with the shed; if anything fails, none of it."""
        self.kept_after_all = self._unsure and self._session.asked(self._is_kept)
        self._unsure = False
        self._inside = self._session.asked(self._begin)
        try:
            found = self._inside.execute(_LAST).fetchone()
            self._standing = found
            yield found is not None and found == self._left
            self._inside.execute(_COUNT, (self._writer, self._commits + 1))
            self._end()
        except BaseException:
            self._left = None
            self._leave()
            raise
        self._inside = None
        self._left = self._standing

    def _begin(self, connection: Any) -> Any:
        connection.execute("BEGIN")
        try:
            connection.execute(LOCK)
        except self._error:
            self._inside = connection
            self._leave()
            raise
        return connection

    def _end(self) -> None:
        """Commit. If the connection is lost in it, whether it is stored is asked for."""
        self._commits += 1
        try:
            done, warned = self._committed(self._inside)
        except self._error as trouble:
            if not self._session.gone(trouble) or not self._asked_whether_kept():
                raise
            return
        if done != "COMMIT" or (warned and not self._asked_whether_kept()):  # the standby may not have it
            raise StoreFailed("the database rolled a commit back; nothing of it is stored, try again")

    @staticmethod
    def _committed(connection: Any) -> tuple[str, list[str]]:
        """What the server says of a commit, and its warnings."""
        warned: list[str] = []

        def heard(said: Any) -> None:
            if said.severity_nonlocalized == "WARNING":
                warned.append(said.message_primary)

        connection.add_notice_handler(heard)
        try:
            return connection.execute("COMMIT").statusmessage, warned
        finally:
            connection.remove_notice_handler(heard)

    def _asked_whether_kept(self) -> bool:
        self._unsure = True
        kept = self._session.patiently(self._is_kept)
        self._unsure = False
        return kept

    def _is_kept(self, connection: Any) -> bool:
        """Whether our last commit is stored, on the standby, too: this one is behind it."""
        self._begin(connection)
        try:
            found = connection.execute(
                "UPDATE writers SET at = now() WHERE writer = %s RETURNING commits", (self._writer,)
            ).fetchone()
            _, warned = self._committed(connection)
        except BaseException:
            connection.close()
            raise
        if warned:
            raise StoreFailed("the standby does not say that it has a commit; try again")
        return found is not None and int(found[0]) == self._commits

    def _leave(self) -> None:
        connection, self._inside = self._inside, None
        if connection is not None and not connection.closed:
            try:
                connection.execute("ROLLBACK")
            except self._error:  # it may look sound and take nothing more
                connection.close()

    def close(self) -> None:
        """Take our count away, if the server is there."""
        if self._commits and not self._session.lost:
            with suppress(self._error):
                self._session.connection().execute(_FORGET, (self._writer,))
        self._session.close()

    # -- blocks

    def save_block(self, block: OpenBlock, taken: rows.Rows, *, closed: bool) -> None:
        """Append the new rows of the open block, or pack all of a closed one."""
        face, body = block.face(), None
        if closed:
            body = rows.pack(block.rows(), block.form)
            self._inside.execute("DELETE FROM tail WHERE block = %s", (block.number,))
        elif len(taken):
            self._inside.execute(
                "INSERT INTO tail (block, part, body) VALUES (%s, %s, %s)",
                (block.number, block.readings, rows.to_bytes(taken, block.form)),
            )
        self._lay(face, block.opened or 0, chain.head(face), body, closed=closed)

    def lay_block(self, face: chain.Face, opened: int, head: str, body: bytes) -> None:
        """Keep a closed block that another store made."""
        self._lay(face, opened, head, body, closed=True)

    def _lay(self, face: chain.Face, opened: int, head: str, body: bytes | None, *, closed: bool) -> None:
        self._inside.execute(_LAY, (face.number, face.form, closed, opened, *face[2:], head, body))
        self._standing = face.number, head, closed

    def close_as_it_stands(self, number: int, body: bytes) -> None:
        """Close the last block under the head that it has."""
        self._inside.execute("DELETE FROM tail WHERE block = %s", (number,))
        self._inside.execute("UPDATE chain SET closed = true, body = %s WHERE number = %s", (body, number))
        self._standing = None

    def drop_body(self, number: int) -> None:
        """Let go of the rows of a closed block."""
        self._inside.execute("UPDATE chain SET body = NULL WHERE number = %s AND closed", (number,))
