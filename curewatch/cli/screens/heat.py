"""What heat does to a batch in its cup and to a thick laminate, as lines. Pure."""

from curewatch.answers.cure import CureLaminateDocument, CurePotDocument
from curewatch.answers.document import spoken
from curewatch.cli.screens.cure import paragraph
from curewatch.wording import Wording, counted, duration


def pot_lines(pot: CurePotDocument, words: Wording) -> list[str]:
    """The batch in its pot; what to mind stands first."""
    life = pot.pot_life_s
    quick, usual, slow = (_when(each) for each in (life.early, life.likely, life.late))
    air, peak = (words.stated(each, "degC") for each in (pot.air_temperature_c, pot.peak_temperature_c))
    said = paragraph(
        f"{words.stated(pot.mass_g, 'g')} in a {spoken(pot.shape)}, air {air}: kicks after {usual} "
        f"({quick} to {slow}); twice as thick after {_when(pot.working_life_s)}; "
        f"peak {peak} after {_when(pot.peak_s)}"
    )
    return ["In the pot", *paragraph(words.retold(pot.caution)), *said]


def laminate_lines(found: CureLaminateDocument, words: Wording) -> list[str]:
    """The laminate."""
    more = "or more"
    if found.peak_of_one_more_c is not None:
        more = f"one more would reach {words.stated(found.peak_of_one_more_c, 'degC')}"
    count = f"{counted(found.layers_in_one_go, 'layer')} of {found.layer_mm:.3g} mm"
    return [
        "The laminate",
        *paragraph(
            f"{found.thickness_mm:.3g} mm on {found.substrate} at once: peak "
            f"{words.stated(found.peak_temperature_c, 'degC')} after {_when(found.peak_s)}, "
            f"gelled through after {_when(found.gel_s)}"
        ),
        *paragraph(
            f"in one go, below {words.stated(found.limit_c, 'degC')} (assumed limit): {count}; {more}"
        ),
    ]


def _when(seconds: float | None) -> str:
    return "more than 6 h" if seconds is None else duration(seconds)
