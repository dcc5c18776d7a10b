"""All 256 bits of a seal on the terminal: as digits, and as a square code for a camera."""

from curewatch import square
from curewatch.cli.terminal import columns, is_plain


def square_lines(digest: str) -> list[str]:
    """The digits; on a terminal that is not plain and wide enough the square code under them."""
    if is_plain() or columns() < square.WIDTH:
        return [f"  all of it  {digest}"]
    return [f"  all of it  {digest}", *square.lines(digest)]
