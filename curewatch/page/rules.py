"""Which requests are let in: pure rules over what a request says, without a socket.

Theory of operation: a browser sends the name that the person typed (Host) and the site that asks (Origin).
A name of another site that points here (DNS rebinding) shows in Host; a form or script of another site shows
in Origin. Both are refused before the token is looked at.

Source: RFC 9110, 7.2 (Host) and 15.5.20 (421 Misdirected Request); RFC 6454 (Origin); RFC 6265 (Cookie).
"""

import ipaddress
from collections.abc import Iterable, Mapping
from http import HTTPStatus
from typing import NamedTuple

from curewatch.page.tokens import TokenKind

HEAD_LARGEST = 16_384  # bytes of a request's lines before its body
BODY_LARGEST = 16_384  # bytes of a body: a note of 2,000 characters fits, however it is written
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "manifest-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
HEADERS = {  # of every answer
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Cache-Control": "no-store",
}


class Refusal(NamedTuple):
    """Why a request is not answered."""

    status: HTTPStatus
    text: str


class Served(NamedTuple):
    """What this server is called: the address that a connection came in by, and names of the machine."""

    address: str
    port: int
    names: tuple[str, ...]
    tls: bool

    def called(self, host: str) -> bool:
        """Whether a Host line means this server."""
        name, port = _split(host)
        usual = 443 if self.tls else 80
        if (int(port) if port else usual) != self.port:
            return False
        if name == "localhost":
            return _loopback(self.address)
        return name in self.names or _same(name, self.address)

    def origin(self, host: str) -> str:
        """What a browser calls a page that it got from here."""
        return f"{'https' if self.tls else 'http'}://{host.lower()}"


def refused(headers: Mapping[str, str], served: Served, *, writes: bool) -> Refusal | None:
    """Why this request is refused whoever asks; none where it may go on to its token."""
    host = headers.get("Host", "").strip()
    if not served.called(host):
        return Refusal(HTTPStatus.MISDIRECTED_REQUEST, "this address is not the shed's")
    origin = headers.get("Origin")
    if origin is None and not writes:
        return None
    if origin is None or origin.strip().lower() != served.origin(host):
        return Refusal(HTTPStatus.FORBIDDEN, "asked by another site")
    return None


def body_refused(headers: Mapping[str, str], content: str) -> Refusal | None:
    """Why a body is not read: of another kind, of no length, or too large."""
    if headers.get("Transfer-Encoding") or not headers.get("Content-Length", "").isdigit():
        return Refusal(HTTPStatus.LENGTH_REQUIRED, "a body needs its length")
    if int(headers["Content-Length"][:12]) > BODY_LARGEST:
        return Refusal(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"a body has at most {BODY_LARGEST} bytes")
    if headers.get("Content-Type", "").partition(";")[0].strip().lower() != content:
        return Refusal(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, f"a body is {content}")
    return None


def allowed(kind: TokenKind | None, wanted: TokenKind) -> bool:
    """Whether a token of this kind opens what wants that kind: who may write may look."""
    return kind is wanted or (kind is TokenKind.WRITE and wanted is TokenKind.VIEW)


def cookie_name(port: int) -> str:
    """Cookies know no ports: two sheds of one machine need two names."""
    return f"curewatch-{port}"


def cookie(secret: str, port: int, *, tls: bool) -> str:
    """The cookie that keeps a token: no script reads it, and no other site sends it."""
    year = 365 * 24 * 3600
    secure = "; Secure" if tls else ""
    return f"{cookie_name(port)}={secret}; Path=/; Max-Age={year}; HttpOnly; SameSite=Strict{secure}"


def token_of(cookies: str, port: int) -> str:
    """The token in a Cookie line; empty where there is none."""
    pairs = (each.strip().partition("=") for each in cookies.split(";"))
    return next((value for name, _, value in pairs if name == cookie_name(port)), "")


def bearer(authorization: str) -> str:
    """The token in an Authorization line (RFC 6750); empty where there is none."""
    scheme, _, token = authorization.strip().partition(" ")
    return token.strip() if scheme.lower() == "bearer" else ""


def names_of(machine: str, further: Iterable[str]) -> tuple[str, ...]:
    """What the machine is called: its own name, the same in the local domain, names of the configuration."""
    short = machine.partition(".")[0].lower()
    own = (short, f"{short}.local", machine.lower()) if short and short != "localhost" else ()
    return (*own, *(each.lower() for each in further))


def _split(host: str) -> tuple[str, str]:
    """Name and port of a Host line; a name that nothing is called where it has no such form."""
    if host.startswith("["):
        name, _, rest = host[1:].partition("]")
        port = rest.removeprefix(":")
    else:
        name, _, port = host.partition(":")
    if port and not (port.isascii() and port.isdigit() and len(port) <= 5):
        return "", "0"
    return name.lower(), port


def _same(name: str, address: str) -> bool:
    asked = _ip(name)
    return asked is not None and asked == _ip(address)


def _loopback(address: str) -> bool:
    found = _ip(address)
    return found is not None and found.is_loopback


def _ip(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        found = ipaddress.ip_address(text.partition("%")[0])
    except ValueError:
        return None
    return getattr(found, "ipv4_mapped", None) or found
