"""What it is made of: resin systems, substrates, cloth, sensor parts; every number with its origin.

A resin brings arrays with it and a sensor part needs none, so a resin is imported when it is first asked for.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from curewatch.materials.resin import DoseOutOfRange, Origin, Resin
    from curewatch.materials.resin_files import load_resin, resin_names

__all__ = ["DoseOutOfRange", "Origin", "Resin", "load_resin", "resin_names"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module = "resin_files" if name.endswith(("_resin", "_names")) else "resin"
    return getattr(import_module(f"{__name__}.{module}"), name)
