"""Whether a film is finished, what would finish it, what it will stand. Pure."""

import math

from curewatch.answers.cure import CureFinishDocument, CurePostCureDocument, CureServiceDocument
from curewatch.answers.document import spoken
from curewatch.cli.screens.lines import paragraph
from curewatch.units import HOUR
from curewatch.wording import Wording

WIDTH = 78


def lines(found: CureFinishDocument, words: Wording) -> list[str]:
    """A few lines at the end of a cure."""
    now, later = (
        f"{words.stated(low, 'degC')} to {words.stated(likely, 'degC')}"
        for low, likely in (
            (found.least_c, found.glass_transition_c),
            (found.reachable_least_c, found.reachable_c),
        )
    )
    higher = _whole(found.dmta_reads_higher_k, words)
    first = [
        f"  glass transition by the model {now}",
        f"  (all by calorimetry: DMTA reads about {higher} more)",
        f"  two more weeks as it is: {later}",
    ]
    if found.wanted_c is None:
        told = f"What it stands in service, and what a post-cure brings: {found.not_known}."
        return [*first, *paragraph(told, WIDTH, initial_indent="  ", subsequent_indent="    ")]
    stands = ["  what it stands, by the lower value now:", *(_stands(each, words) for each in found.service)]
    return [*first, *stands, *_post_cure(found, words)]


def _stands(each: CureServiceDocument, words: Wording) -> str:
    asked = f"{each.title}, {words.stated(each.temperature_c, 'degC')}"
    said = (
        "stands it" if each.stands_now else "after a post-cure" if each.stands_finished else "NOT: may soften"
    )
    return f"    {asked:<33}{said:<19}({spoken(each.tag)})"


def _post_cure(found: CureFinishDocument, words: Wording) -> list[str]:
    if found.finished:
        return ["  finished: no post-cure is needed"]
    wanted, hottest = words.stated(found.wanted_c, "degC"), words.stated(found.hottest_post_cure_c, "degC")
    if not found.post_cures:
        return [f"  no post-cure within a day at up to {hottest} brings it to {wanted}"]
    ways = " or ".join(_way(each, words) for each in found.post_cures)
    begin = words.stated(found.start_no_warmer_c, "degC")
    ramp, above = (_whole(each, words) for each in (found.ramp_k_per_hour, found.softens_above_k))
    text = (
        f"{words.retold(found.caution)} A post-cure to {wanted}: {ways}; slow lots included. No step is more "
        f"than {above} above the lower glass transition by then: begin no warmer than {begin}. Between "
        f"these steps warm it by at most {ramp} an hour."
    )
    return paragraph(text, WIDTH, initial_indent="  ", subsequent_indent="  ")


def _way(each: CurePostCureDocument, words: Wording) -> str:
    """The steps that are held longer than it takes to warm by them; the last is always said."""
    shortest = min(step.duration_s for step in each.steps)
    held = [step for step in each.steps[:-1] if step.duration_s > shortest] + [each.steps[-1]]
    return (
        ", ".join(
            f"{math.ceil(step.duration_s / HOUR - 1e-9)} h at {words.stated(step.temperature_c, 'degC')}"
            for step in held
        )
        + f" ({math.ceil(each.duration_s / HOUR - 1e-9)} h in all)"
    )


def _whole(kelvin: float, words: Wording) -> str:
    """A difference that is known to a degree."""
    return f"{round(float(words.differences(kelvin)))} {words.difference_unit}"
