"""The document of `heads`: the heads of all sheds in one signed list."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from curewatch.answers.document import Shape, Utc, says

if TYPE_CHECKING:
    from curewatch.logbook.heads import HeadsList


class ListedHeadDocument(Shape, frozen=True, kw_only=True):
    """One shed of the list."""

    shed: Annotated[str, says("Its name in the configuration; - where there is one shed")]
    block: Annotated[int, says("The last block that its newest seal covers")]
    head: Annotated[str, says("Of that block, SHA-256")]
    seal: Annotated[str, says("The code of that seal")]


class HeadsDatedDocument(Shape, frozen=True, kw_only=True):
    """When an authority dated the list."""

    at: Annotated[Utc, says("When the list was there (ISO 8601, UTC)")]
    by: Annotated[str, says("The authority, as its certificate names it")]
    root: Annotated[str, says("SHA-256 of the certificate that it leads to")]


class HeadsDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch heads`."""

    file: Annotated[str, says("Where the list lies")]
    code: Annotated[str, says("Of the list: 28 characters in groups of four")]
    at: Annotated[Utc, says("When it was made (ISO 8601, UTC)")]
    key: Annotated[str, says("Public key that signed it: of the first shed")]
    heads: Annotated[list[ListedHeadDocument], says("Each shed, as it stood")]
    dated: Annotated[HeadsDatedDocument | None, says("By an authority; null where none dated it")]
    checked: Annotated[bool, says("Whether each chain was walked and has the heads of the list")]


def heads_document(listed: "HeadsList", file: Path, *, checked: bool) -> HeadsDocument:
    """A list that was made, or one that was checked."""
    stamp = listed.stamp
    return HeadsDocument(
        file=str(file),
        code=listed.code,
        at=listed.at,
        key=listed.public_key,
        heads=[
            ListedHeadDocument(shed=each.shed, block=each.block, head=each.head, seal=each.code)
            for each in listed.heads
        ],
        dated=None if stamp is None else HeadsDatedDocument(at=stamp.at, by=stamp.by, root=stamp.root),
        checked=checked,
    )
