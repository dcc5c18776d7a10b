"""Modules that cost time to import, imported when they are first used."""

from importlib import import_module
from typing import Any


class Later:
    """Stands for a module; the first use of anything in it imports it."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __getattr__(self, attribute: str) -> Any:
        found = getattr(import_module(self._name), attribute)
        setattr(self, attribute, found)  # not asked for again: that would cost microseconds at each use
        return found
