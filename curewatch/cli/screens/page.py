"""A new code as an address and a square, and the list of those there are."""

from curewatch import square
from curewatch.answers.document import moment
from curewatch.answers.page import PageDocument, PageTokenDocument
from curewatch.safe_text import safe_line
from curewatch.wording import Wording

OPENS = {
    "view": "Point the phone's camera at it, or type the address. It may look.",
    "write": "Point the phone's camera at it, or type the address. It may look, acknowledge and tell.",
    "calendar": "Give this address to a calendar as a subscription.",
}


def lines(document: PageDocument, words: Wording, now: float, command: str = "page") -> list[str]:
    """What was made or taken back by this command; else every code. [UTC s]"""
    if document.made is not None and document.address is not None:
        made = document.made
        shown = [*square.of_address(document.address), document.address, OPENS[made.kind]]
        shown.append(f"It is number {made.number}, and is not shown again.")
        shown.append(f"To take it back: curewatch {command} --revoke {made.number}")
        return [*shown, *([document.warning] if document.warning else [])]
    if document.revoked is not None:
        return [f"taken back: {_token(document.revoked, words, now)}"]
    return [_token(each, words, now) for each in document.tokens] or [
        f"no code was made yet: curewatch {command}"
    ]


def _token(token: PageTokenDocument, words: Wording, now: float) -> str:
    name = f" {safe_line(token.name)}" if token.name else ""
    return f"{token.number} {token.kind}{name}, made {words.moment(moment(token.made), now)}"
