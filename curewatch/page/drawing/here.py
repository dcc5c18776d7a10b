"""What a sentence of advice asks to be typed, by the key of this page that does the same."""

import re

# Only what a key of the bench does; other commands stay, for whoever has the terminal at hand.
KEYS = (
    (r"Then type `curewatch layer`", "Then press LAID"),
    (r"Tell it: curewatch layer", "Then press LAID"),
    (r"Tell it: curewatch job peel-ply --action on", "Then press PEEL PLY"),
    (r"Then: curewatch job pot-empty(?: --(?:layer|batch|job) \S+)*", "Then press POT EMPTY"),
    (r"Ask again before you mix: curewatch tonight", "Look here again before you mix"),
)


def by_keys(said: str) -> str:
    """The sentence for somebody who has this page in hand."""
    for typed, pressed in KEYS:
        said = re.sub(typed, pressed, said)
    return said
