"""Under which address a phone reaches the page, and who can read along."""

import ipaddress
import socket

from curewatch.configuration.shape import PhonePageTable
from curewatch.page.tokens import TokenKind

READS = (
    "Plain HTTP: whoever is on this network can read along, this code too. "
    "Use certificate_file and key_file under [page]."
)


def entering(page: PhonePageTable, kind: TokenKind, secret: str) -> str:
    """What a phone opens once, or a calendar again and again."""
    scheme = "http" if page.certificate_file is None else "https"
    name = page.names[0] if page.names else _reached(page.address)
    place = f"[{name}]" if ":" in name else name
    way = f"calendar/{secret}.ics" if kind is TokenKind.CALENDAR else f"enter/{secret}"
    return f"{scheme}://{place}:{page.port}/{way}"


def warning(page: PhonePageTable) -> str:
    """That others read along; empty over TLS, and where only this machine is reached."""
    if page.certificate_file is not None or _loopback(page.address):
        return ""
    return READS


def _loopback(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return address == "localhost"


def _reached(address: str) -> str:
    """The address itself; where the page listens on all of them, the one by which this machine goes out."""
    if address not in {"0.0.0.0", "::"}:  # noqa: S104 - compared, not bound
        return address
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as outward:
        try:
            outward.connect(("192.0.2.1", 9))  # RFC 5737: nothing is sent by it
            return str(outward.getsockname()[0])
        except OSError:
            return socket.gethostname()
