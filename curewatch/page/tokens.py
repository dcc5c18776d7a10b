"""Who may look at the page, and who may write: tokens, each kept as its digest alone.

A token is 160 random bits; so a plain SHA-256 of it is enough, and nobody guesses one. The file stands beside
its logbook with mode 0600. It is read anew when it has changed: what is revoked ends with the next request.
"""

import base64
import hashlib
import os
import secrets
from enum import StrEnum
from pathlib import Path

import msgspec

from curewatch.errors import StoreFailed, UsageError, reason

MOST = 64  # tokens of one logbook
NAME_LONGEST = 40
RANDOM = 20  # bytes of a token


class TokenKind(StrEnum):
    """What a token allows."""

    VIEW = "view"  # the page and the metrics
    WRITE = "write"  # the keys and acknowledging, too
    CALENDAR = "calendar"  # the calendar feed alone: its address carries it for good


class PageToken(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One token as it is kept."""

    number: int
    kind: TokenKind
    name: str  # whose it is, as somebody said
    made: float  # UTC [s]
    digest: str  # SHA-256 of the token, in hexadecimal digits


class TokenFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """All of them; a number is given once."""

    following: int = 1
    tokens: tuple[PageToken, ...] = ()


def tokens_path(logbook: Path) -> Path:
    """Where the tokens of a logbook stand."""
    return logbook.with_name(f"{logbook.name}.tokens")


def read_tokens(path: Path) -> TokenFile:
    """The tokens there are.

    Raises
    ------
    StoreFailed
        Others can read or write the file, or it is no file of tokens.
    """
    try:
        with path.open("rb") as opened:
            mode = os.fstat(opened.fileno()).st_mode
            content = opened.read(MOST * 1000)
    except FileNotFoundError:
        return TokenFile()
    except OSError as trouble:
        raise StoreFailed(f"tokens {path}: {reason(trouble)}. Use the daemon's user") from trouble
    if mode & 0o077:
        raise StoreFailed(f"tokens {path}: found it open to others. Use chmod 600 {path}")
    try:
        return msgspec.json.decode(content, type=TokenFile)
    except msgspec.DecodeError as trouble:
        text = f"tokens {path}: found no list of tokens. Remove the file and make new ones"
        raise StoreFailed(text) from trouble


def issue(path: Path, kind: TokenKind, name: str, at: float) -> tuple[PageToken, str]:
    """Make one: as it is kept, and the token itself, which is shown once. [UTC s]

    Raises
    ------
    UsageError, StoreFailed
        There are as many as there may be; or the file cannot be written.
    """
    before = read_tokens(path)
    if len(before.tokens) >= MOST:
        raise UsageError(f"page: found {MOST} tokens. Use --revoke for those that nobody needs")
    secret = base64.b32encode(secrets.token_bytes(RANDOM)).decode().lower()
    made = PageToken(number=before.following, kind=kind, name=name, made=at, digest=_digest(secret))
    _write(path, TokenFile(following=before.following + 1, tokens=(*before.tokens, made)))
    return made, secret


def revoke(path: Path, number: int) -> PageToken:
    """Take one back; UsageError where none has this number."""
    before = read_tokens(path)
    found = next((each for each in before.tokens if each.number == number), None)
    if found is None:
        there = ", ".join(str(each.number) for each in before.tokens) or "there is none"
        raise UsageError(f"--revoke: found {number}. Use a number of --list: {there}")
    rest = tuple(each for each in before.tokens if each is not found)
    _write(path, TokenFile(following=before.following, tokens=rest))
    return found


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _write(path: Path, content: TokenFile) -> None:
    """All or nothing, and never open to others, not even for a moment."""
    fresh = path.with_name(f"{path.name}.new")
    try:
        fresh.unlink(missing_ok=True)
        with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as opened:
            opened.write(msgspec.json.format(msgspec.json.encode(content)) + b"\n")
            opened.flush()
            os.fsync(opened.fileno())
        fresh.replace(path)
    except OSError as trouble:
        raise StoreFailed(f"tokens {path}: {reason(trouble)}") from trouble


class TokenKeeper:
    """The tokens as the server asks for them: read again when the file is another."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._seen: tuple[int, ...] | None = None
        self._kinds: dict[str, TokenKind] = {}

    def kind(self, secret: str) -> TokenKind | None:
        """What this token allows; none for one that is not known.

        Raises
        ------
        StoreFailed
            The file cannot be trusted: then nobody is let in.
        """
        seen = self._stat()
        if seen != self._seen:
            found = read_tokens(self._path)
            self._kinds, self._seen = {each.digest: each.kind for each in found.tokens}, seen
        return self._kinds.get(_digest(secret[:200]))

    def _stat(self) -> tuple[int, ...]:
        try:
            found = self._path.stat()
        except OSError:
            return ()
        return found.st_ino, found.st_mtime_ns, found.st_size, found.st_mode
