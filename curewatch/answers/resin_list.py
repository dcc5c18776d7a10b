"""The document of `resin list`."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

from curewatch.answers.document import Shape, code, says
from curewatch.materials.chemistry import CHEMISTRIES

if TYPE_CHECKING:
    from curewatch.materials.resin import Resin

ChemistryCode = Annotated[str, says(f"Chemistry: {', '.join(map(code, CHEMISTRIES))}")]


class ResinListResinDocument(Shape, frozen=True, kw_only=True):
    """One resin system."""

    name: Annotated[str, says("Name")]
    title: Annotated[str, says("Title")]
    kind: ChemistryCode
    note: Annotated[str, says("A remark")]
    parent: Annotated[str, says("Based on, or empty")]
    version: Annotated[int, says("Version")]


class ResinListDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch resin list`."""

    resins: Annotated[list[ResinListResinDocument], says("Built in, and in the user's folder")]


def resin_list_document(resins: "Iterable[Resin]") -> ResinListDocument:
    """These resin systems as a document."""
    return ResinListDocument(
        resins=[
            ResinListResinDocument(
                name=each.name,
                title=each.title,
                kind=code(each.chemistry.name),
                note=each.note,
                parent=each.parent,
                version=each.version,
            )
            for each in resins
        ]
    )
