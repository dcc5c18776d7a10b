"""The document of `resin-list`."""

from typing import Annotated

from curewatch.answers.document import Shape, says


class ResinListResinDocument(Shape, frozen=True, kw_only=True):
    """One of the ``resin`` of resin list."""

    name: Annotated[str, says("Name")]
    title: Annotated[str, says("Title")]
    kind: Annotated[str, says("Chemistry")]
    note: Annotated[str, says("A remark")]
    parent: Annotated[str, says("Based on, or empty")]
    version: Annotated[int, says("Version")]
