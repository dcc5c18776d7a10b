"""The answers of `windows`, `layup` and `cure` as a person reads them: kept texts, one for each width."""

from collections.abc import Callable

import numpy as np
import pytest

from curewatch.advice.judge.limits import for_resin
from curewatch.advice.judge.question import Question
from curewatch.advice.plan.amounts import Repair
from curewatch.advice.plan.geometry import RepairShape, outline
from curewatch.advice.plan.layup import Hands, bill
from curewatch.advice.plan.windows import EVERY, GoWindow, Starts, Strip
from curewatch.answers.cure import cure_document
from curewatch.answers.layup import layup_document
from curewatch.answers.windows import windows_document
from curewatch.cli.folding import folded
from curewatch.cli.screens import cure, layup, windows
from curewatch.materials import load_resin
from curewatch.materials.cloth import load_cloth
from curewatch.materials.substrate import load_substrate
from curewatch.model.film.film import constant
from curewatch.model.film.outcome import outcome
from curewatch.units import HOUR
from curewatch.wording import Wording
from tests.goldens import ANEW, golden

NOW = 1_795_000_500.0  # UTC [s]: Wednesday 18 November 2026, 11:15


def coming(width: int) -> list[str]:
    """Two windows in two days of starts. INVENTED."""
    start = NOW + EVERY * np.arange(193)
    probability, following = np.full(193, 0.2), np.zeros(193)
    probability[8:24], probability[100:110] = 0.6, 0.6
    probability[10:16], probability[102:104] = 0.9, 0.82
    following[10:13] = 0.85
    starts = Starts(
        start,
        probability,
        following,
        start + 5 * HOUR,
        start + 7 * HOUR,
        start + 9 * HOUR,
        start + 10 * HOUR,
        start + 12 * HOUR,
    )
    limiting = ("The surface may sweat before it sets",) * 193
    found = (GoWindow(10, 15, 11), GoWindow(102, 103, 102))
    strip = Strip("epoxy-fast", "General-purpose epoxy, fast hardener", starts, limiting, found, 0.8)
    return windows.lines(windows_document((strip,), NOW, "a demonstration"), Wording(), width, why=True)


def hole(width: int) -> list[str]:
    """A round hole from both sides, with no readings to time it by. INVENTED."""
    slow = load_resin("epoxy-slow")
    asked = Question(slow, for_resin(slow), load_substrate("plywood"))
    repair = Repair(
        hole=outline(RepairShape.ROUND, 0.080),
        thickness=0.003,
        cloth=load_cloth("stitched-biaxial"),
        substrate="plywood",
    )
    return layup.lines(layup_document(bill(repair, asked, Hands()), NOW, 1e-3), Wording(), width, why=True)


def film(width: int) -> list[str]:
    """Two days at 10 degC, where no shown minute is near to the next: machines differ in the last digits."""
    slow = load_resin("epoxy-slow")
    said = outcome(slow, constant(283.15, 48 * HOUR))
    return cure.lines(cure_document(said, slow.dose_used(), do_not=""), Wording(), width, why=True)


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize(("name", "answer"), [("windows", coming), ("layup", hole), ("cure", film)])
def test_an_answer_reads_as_kept(name: str, answer: Callable[[int], list[str]], width: int) -> None:
    """Line by line, without colour; nothing but printable text; nothing wider than the terminal."""
    told = answer(width)
    assert 3 <= told.index("") <= 10  # the first screen ends where the reasons begin
    rows = folded(told, width)
    shown = "".join(f"{row}\n" for row in rows)
    assert shown == golden(f"{name}_{width}", shown), ANEW
    assert max(map(len, rows)) <= width
    assert all(row.isprintable() for row in rows)
