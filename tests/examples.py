"""How many examples of a property are drawn where a test says so itself."""

import os


def up_to(most: int) -> int:
    """All in CI, which takes the same each time; half of them elsewhere, where each run draws others."""
    return most if "CI" in os.environ else (most + 1) // 2
