"""Curewatch: a cure-condition advisor for epoxy and polyester work in an unheated shed."""

__version__ = "0.1.0"
