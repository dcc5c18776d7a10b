"""What the benchmarks share."""

import os

# As the commands have it. With more threads each small product of matrices waits for all of them, and on a
# busy machine a hundred times as long as it takes alone.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def environment(**more: str) -> dict[str, str]:
    """Of a child: as an installed program runs, with its compiled files and one thread for its arithmetic."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "OPENBLAS_NUM_THREADS": "1", **more}
