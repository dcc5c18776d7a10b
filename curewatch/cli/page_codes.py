"""Codes for a page: one is made or taken back, or all are listed."""

from pathlib import Path

from curewatch.answers.page import PageDocument
from curewatch.configuration.shape import PhonePageTable
from curewatch.errors import UsageError
from curewatch.page import address, tokens
from curewatch.page.listing import page_document


def codes(
    page: PhonePageTable,
    path: Path,
    now: float,
    *,
    kind: tokens.TokenKind,
    name: str,
    listed: bool,
    revoke: int | None,
) -> PageDocument:
    """A new code for this page unless one is taken back, or they are only ``listed``. [UTC s]

    Raises
    ------
    UsageError
        The name is too long, or there is no code of this number.
    """
    made, opened = None, None
    taken = None if revoke is None else tokens.revoke(path, revoke)
    if taken is None and not listed:
        if len(name) > tokens.NAME_LONGEST:
            raise UsageError(f"--name: found {len(name)} characters. Use at most {tokens.NAME_LONGEST}")
        made, secret = tokens.issue(path, kind, name, now)
        opened = address.entering(page, made.kind, secret)
    return page_document(made, opened, taken, tokens.read_tokens(path).tokens, address.warning(page))
