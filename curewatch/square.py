"""Square codes for a camera: a seal's 256 bits, on the terminal and on paper; the address of the page."""

from collections.abc import Iterator
from io import BytesIO
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from segno import QRCode

BEFORE = "CUREWATCH SEAL "  # what stands before the digits
WIDTH = 37  # columns on a terminal
_HALVES = {(0, 0): " ", (1, 0): "\u2580", (0, 1): "\u2584", (1, 1): "\u2588"}


def svg(digest: str) -> bytes:
    """The square as a picture, one millimetre a module at most."""
    picture = BytesIO()
    _made(digest).save(picture, kind="svg", border=2, xmldecl=False, svgclass=None, lineclass=None)
    return picture.getvalue()


def lines(digest: str) -> Iterator[str]:
    """The square as lines of half blocks: light where the terminal's letters are light."""
    return _drawn(_made(digest))


def of_address(address: str) -> Iterator[str]:
    """An address as lines of half blocks."""
    import segno

    return _drawn(segno.make_qr(address, error="l"))


def _drawn(code: "QRCode") -> Iterator[str]:
    rows = [[1 - module for module in row] for row in code.matrix_iter(border=2)]
    rows += [[1] * len(rows[0])] * (len(rows) % 2)
    for upper, lower in zip(rows[::2], rows[1::2], strict=True):
        yield "".join(_HALVES[pair] for pair in zip(upper, lower, strict=True))


def _made(digest: str) -> "QRCode":
    import segno

    return segno.make_qr(BEFORE + digest.upper(), error="m")
