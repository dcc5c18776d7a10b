"""What it is made of: resin systems, substrates, cloth, sensor parts; every number with its origin."""

from curewatch.materials.resin_files import load_system, system_names
from curewatch.materials.system import DoseOutOfRange, Origin, ResinSystem

__all__ = ["DoseOutOfRange", "Origin", "ResinSystem", "load_system", "system_names"]
