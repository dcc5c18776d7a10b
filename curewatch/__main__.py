"""``python -m curewatch`` is the ``curewatch`` command."""

from curewatch.cli.main import run

if __name__ == "__main__":
    run()
