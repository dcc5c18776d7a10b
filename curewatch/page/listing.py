"""The tokens as the document that `curewatch page` shows."""

from collections.abc import Iterable

from curewatch.answers.page import PageDocument, PageTokenDocument
from curewatch.clock import iso_utc
from curewatch.page.tokens import PageToken


def page_document(
    made: PageToken | None,
    address: str | None,
    revoked: PageToken | None,
    tokens: Iterable[PageToken],
    warning: str,
) -> PageDocument:
    """What was made or taken back, and all that there is."""
    return PageDocument(
        made=None if made is None else _token(made),
        address=address,
        revoked=None if revoked is None else _token(revoked),
        tokens=[_token(each) for each in tokens],
        warning=warning,
    )


def _token(token: PageToken) -> PageTokenDocument:
    return PageTokenDocument(
        number=token.number, kind=token.kind.value, name=token.name, made=iso_utc(token.made)
    )
