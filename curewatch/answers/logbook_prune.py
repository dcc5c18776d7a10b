"""The document of `logbook-prune`."""

from typing import Annotated

from curewatch.answers.document import Shape, says


class LogbookPruneDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook prune`."""

    rehearsed: Annotated[bool, says("Nothing was changed")]
    readings: Annotated[int, says("Readings that go")]
    blocks: Annotated[int, says("Blocks")]
    kept_for: Annotated[list[str], says("Jobs that keep theirs")]
