"""Libraries that not everybody needs: what is told where one is missing."""

import importlib
from typing import Any

from curewatch.errors import UsageError


def require(module: str, extra: str, what: str) -> Any:
    """The module; ``what`` cannot be done without it.

    Raises
    ------
    UsageError
        It is not installed; the message has the line that installs it.
    """
    try:
        return importlib.import_module(module)
    except ImportError as missing:
        library = module.partition(".")[0]
        raise UsageError(f"{what}: found no {library}. Use pip install 'curewatch[{extra}]'") from missing
