"""What the logic of a logbook asks of the database that keeps its tables.

Theory of operation
-------------------
Both databases understand one SQL, that of ``schema``, so questions stand where their answers are used.
Here is what differs: how a commit begins and ends, how rows are read, and how the body of a block lies.
A parameter is ``?``. A conflict names its columns, and a column of the row that is there its table.
"""

from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager
from typing import Any, Protocol

from curewatch.logbook import chain
from curewatch.logbook.block import OpenBlock
from curewatch.logbook.rows import Rows


class Answer(Protocol):
    """Rows that answer a question."""

    @property
    def rowcount(self) -> int: ...

    def fetchone(self) -> Any: ...

    def fetchall(self) -> list[Any]: ...

    def __iter__(self) -> Iterator[Any]: ...


class Database(Protocol):
    """Whoever answers SQL."""

    def execute(self, question: str, values: Any = (), /) -> Answer: ...

    def executemany(self, question: str, values: Iterable[Any], /) -> object: ...


class Tables(Database, Protocol):
    """The tables of one logbook."""

    @property
    def kept_after_all(self) -> bool:
        """Whether the last commit, which failed, was found to be stored when this one began."""

    def commit(self) -> AbstractContextManager[bool]:
        """One commit, alone with the tables; whether nobody has written since our last one."""

    def still(self) -> AbstractContextManager[None]:
        """All that is read inside is of one moment, however much others write meanwhile."""

    def each(self, question: str, values: Any = (), /) -> Iterable[Any]:
        """The rows, read as they are asked for."""

    def save_block(self, block: OpenBlock, taken: Rows, *, closed: bool) -> None:
        """Keep the last block as it stands; ``taken`` are its rows since the last time."""

    def lay_block(self, face: chain.Face, opened: int, head: str, body: bytes) -> None:
        """Keep a closed block that another store made."""

    def close_as_it_stands(self, number: int, body: bytes) -> None:
        """Close the last block under the head that it has."""

    def drop_body(self, number: int) -> None:
        """Let go of the rows of a closed block."""
