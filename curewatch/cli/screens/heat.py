"""What heat does to a batch in its cup and to a thick laminate, as lines. Pure."""

import math

from curewatch.answers.cure import CureLaminateDocument, CurePotDocument
from curewatch.answers.document import spoken
from curewatch.cli.screens.lines import wrapped
from curewatch.wording import Wording, counted, roughly


def pot_line(pot: CurePotDocument, words: Wording) -> list[str]:
    """The batch in its pot, in a line; what to mind stands first."""
    life, mass = pot.pot_life_s, f"{words.stated(pot.mass_g, 'g')} in a {spoken(pot.shape)}"
    if life.early is None:
        air = words.stated(pot.air_temperature_c, "degC")
        return wrapped(f"{pot.caution_brief} {mass} at {air} does not kick within 24 hours.".strip())
    kicks = f"kicks as early as {roughly(life.early, math.floor)}, likely {_when(life.likely)}"
    return wrapped(f"{pot.caution_brief} {mass}: {kicks}; peak {words.peak(pot.peak_temperature_c)}.".strip())


def laminate_line(found: CureLaminateDocument, words: Wording) -> list[str]:
    """The laminate in a line."""
    count = f"{counted(found.layers_in_one_go, 'layer')} of {found.layer_mm:.3g} mm in one go"
    return wrapped(
        f"{found.thickness_mm:.3g} mm at once: peak {words.peak(found.peak_temperature_c)}; at most {count}."
    )


def pot_lines(pot: CurePotDocument, words: Wording) -> list[str]:
    """The batch in its pot; what to mind stands first."""
    life = pot.pot_life_s
    quick, usual, slow = (_when(each) for each in (life.early, life.likely, life.late))
    air, peak = words.stated(pot.air_temperature_c, "degC"), words.peak(pot.peak_temperature_c)
    said = wrapped(
        f"{words.stated(pot.mass_g, 'g')} in a {spoken(pot.shape)}, air {air}: kicks after {usual} "
        f"({quick} to {slow}); twice as thick after {_when(pot.working_life_s)}; "
        f"peak {peak} after {_when(pot.peak_s)}"
    )
    return ["In the pot", *wrapped(words.retold(pot.caution)), *said]


def laminate_lines(found: CureLaminateDocument, words: Wording) -> list[str]:
    """The laminate."""
    more = "or more"
    if found.peak_of_one_more_c is not None:
        more = f"one more would reach {words.peak(found.peak_of_one_more_c)}"
    count = f"{counted(found.layers_in_one_go, 'layer')} of {found.layer_mm:.3g} mm"
    return [
        "The laminate",
        *wrapped(
            f"{found.thickness_mm:.3g} mm on {found.substrate} at once: peak "
            f"{words.peak(found.peak_temperature_c)} after {_when(found.peak_s)}"
        ),
        *wrapped(f"in one go, below {words.stated(found.limit_c, 'degC')} (assumed limit): {count}; {more}"),
    ]


def _when(seconds: float | None) -> str:
    return "more than 24 h" if seconds is None else roughly(seconds)
