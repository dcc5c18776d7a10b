"""Which topics a topic filter covers (MQTT 5.0, 4.7)."""

from collections.abc import Sequence


def covers(pattern: str, topic: str) -> bool:
    """Does this filter, with its + and #, cover this topic?"""
    return covers_levels(pattern.split("/"), topic.split("/"))


def covers_levels(wanted: Sequence[str], levels: Sequence[str]) -> bool:
    """The same, level by level."""
    if wanted[-1] == "#":
        head = wanted[:-1]
        return len(levels) >= len(head) and _same(head, levels[: len(head)])
    return len(wanted) == len(levels) and _same(wanted, levels)


def _same(wanted: Sequence[str], levels: Sequence[str]) -> bool:
    return all(want in {"+", level} for want, level in zip(wanted, levels, strict=True))
