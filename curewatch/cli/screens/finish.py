"""Whether a film is finished, what would finish it, what it will stand. Pure."""

import math
from textwrap import wrap
from typing import Any

from curewatch.model.film.finish import (
    CAUTION,
    MARGIN,
    NOT_STATED,
    OVENS,
    Finish,
    PostCure,
    Stands,
    gentle_start,
)
from curewatch.units import HOUR, celsius_from_kelvin
from curewatch.wording import Wording

WIDTH = 78


def lines(found: Finish, words: Wording) -> list[str]:
    """A few lines at the end of a cure."""
    now, later = (
        f"{words.temperature(low)} to {words.temperature(likely)}"
        for low, likely in ((found.least, found.glass_transition), (found.reachable_least, found.reachable))
    )
    first = [f"  glass transition by the model {now}", f"  two more weeks as it is: {later}"]
    if found.wanted is None:
        told = f"What it stands in service, and what a post-cure brings: {NOT_STATED}."
        return [*first, *wrap(told, WIDTH, initial_indent="  ", subsequent_indent="    ")]
    stands = ["  what it stands, by the lower value now:", *(_stands(each, words) for each in found.stands)]
    return [*first, *stands, *_post_cure(found, found.wanted, words)]


def as_plain(found: Finish) -> dict[str, Any]:
    """The same for ``--json``."""
    return {
        "glass_transition_c": _celsius(found.glass_transition),
        "least_c": _celsius(found.least),
        "reachable_c": _celsius(found.reachable),
        "reachable_least_c": _celsius(found.reachable_least),
        "wanted_c": None if found.wanted is None else _celsius(found.wanted),
        "finished": found.finished,
        "post_cures": [
            {"temperature_c": _celsius(each.temperature), "duration_s": round(each.duration)}
            for each in found.post_cures
        ],
        "margin_k": MARGIN,
        "service": [
            {
                "name": each.service.name,
                "temperature_c": _celsius(each.service.temperature),
                "tag": each.service.origin.tag,
                "source": each.service.origin.source,
                "stands_now": each.now,
                "stands_finished": each.finished,
                "spare_k": round(each.spare, 1),
            }
            for each in found.stands
        ],
        "not_known": NOT_STATED if found.wanted is None else "",
        "caution": CAUTION,
    }


def _stands(each: Stands, words: Wording) -> str:
    asked = f"{each.service.name}, {words.temperature(each.service.temperature)}"
    said = "stands it" if each.now else "after a post-cure" if each.finished else "NOT: may soften"
    return f"    {asked:<33}{said:<19}({each.service.origin.tag})"


def _post_cure(found: Finish, kelvin: float, words: Wording) -> list[str]:
    if found.finished:
        return ["  finished: no post-cure is needed"]
    wanted = words.temperature(kelvin)
    if not found.post_cures:
        return [f"  no post-cure within a day at up to {words.temperature(OVENS[-1])} brings it to {wanted}"]
    ways = " or ".join(_way(each, words) for each in found.post_cures)
    begin = words.temperature(gentle_start(found.least))
    caution = words.retold(CAUTION)
    text = f"{caution} A post-cure to {wanted}: {ways}, slow lots included; begin no warmer than {begin}."
    return wrap(text, WIDTH, initial_indent="  ", subsequent_indent="  ")


def _way(each: PostCure, words: Wording) -> str:
    return f"{math.ceil(each.duration / HOUR - 1e-9)} h at {words.temperature(each.temperature)}"


def _celsius(kelvin: float) -> float:
    return round(float(celsius_from_kelvin(kelvin)), 1)
