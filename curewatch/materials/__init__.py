"""What it is made of: resin systems, substrates, cloth, sensor parts; every number with its origin."""

from curewatch.materials.resin import DoseOutOfRange, Origin, Resin
from curewatch.materials.resin_files import load_resin, resin_names

__all__ = ["DoseOutOfRange", "Origin", "Resin", "load_resin", "resin_names"]
