"""The document of `explain`."""

from typing import Annotated

from msgspec import field

from curewatch.answers.document import Shape, says


class ExplainAnswerDocument(Shape, frozen=True, kw_only=True):
    """One of the ``answer`` of explain."""

    term: Annotated[str, says("Term")]
    says: Annotated[list[str], says("Sentences")]
    caution: Annotated[str, says("Caution")]
    source: Annotated[str, says("Source")]
    tag: Annotated[str, says("Kind of source")]
    see: Annotated[list[str], says("Terms near it")]
    try_: Annotated[str, says("A command to try")] = field(name="try")
