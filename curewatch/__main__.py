"""``curewatch`` and ``python -m curewatch``: nothing is looked for among what is only imported."""

import atexit
import gc


def start() -> None:
    """Import the command and run it; looking for garbage begins when it acts (``cli.main.command``)."""
    gc.disable()  # a fifth of a short command's time went into it (measured)
    atexit.register(gc.freeze)  # the last look, at the end, would find only what ends anyway
    from curewatch.cli.main import run

    run()


if __name__ == "__main__":
    start()
