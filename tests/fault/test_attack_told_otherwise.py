"""Attack: the owner tells times and choices afterwards as he needs them. The chain has when he told them.

A layer before its batch, a batch before the job, something seen before the layer; the rule set chosen when
the outcome was known. Each stands in the record.
"""

from collections.abc import Callable
from pathlib import Path

import pytest

from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.record import page_first, page_troubles
from curewatch.record.writing import make
from curewatch.units import DAY, HOUR
from curewatch.wording import Wording
from tests import record_world as world

OPENED, LATER = world.OPENED, world.OPENED + 3.5 * DAY


def a_layer_before_its_batch(logbook: Logbook) -> None:
    told = {"layer": "L9", "started": OPENED + HOUR, "resin": "epoxy-slow", "batches": ["B2"]}
    logbook.write(Entry(EntryKind.LAYER, told, OPENED + HOUR, job=world.JOB, recorded=LATER))


def a_batch_before_the_job(logbook: Logbook) -> None:
    told = {"batch": "B9", "resin": "epoxy-slow", "resin_mass": 0.1, "hardener_mass": 0.022}
    logbook.write(Entry(EntryKind.BATCH, told, OPENED - 5 * HOUR, job=world.JOB, recorded=LATER))


def seen_before_the_layer(logbook: Logbook) -> None:
    told = {"layer": "L2", "observed": "gelled", "at": OPENED + HOUR}
    logbook.write(Entry(EntryKind.OBSERVATION, told, OPENED + HOUR, job=world.JOB, recorded=LATER))


def a_layer_still_to_come(logbook: Logbook) -> None:
    told = {"layer": "L9", "started": LATER + DAY, "resin": "epoxy-slow"}
    logbook.write(Entry(EntryKind.LAYER, told, LATER + DAY, job=world.JOB, recorded=LATER))


TOLD = [a_layer_before_its_batch, a_batch_before_the_job, seen_before_the_layer, a_layer_still_to_come]


def said(tmp_path: Path, tell: Callable[[Logbook], None]) -> str:
    world.fill(tmp_path / "logbook.sqlite", step=3600.0)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        tell(logbook)
        return make(logbook, world.JOB, OPENED + 6 * DAY, None, Wording()).files["pages.json"].decode()


@pytest.mark.long
@pytest.mark.parametrize("tell", TOLD)
@pytest.mark.few(2)
def test_times_that_cannot_be_true_stand_in_the_record(tmp_path: Path, tell: Callable[[Logbook], None]):
    """By entry, in plain words, beside when it was told."""
    assert '"order"' in said(tmp_path, tell)


@pytest.mark.parametrize("tell", TOLD)
@pytest.mark.few(1)
def test_without_the_order_of_times_nothing_says_so(tmp_path: Path, tell, monkeypatch: pytest.MonkeyPatch):
    """The control."""
    monkeypatch.setattr(page_troubles, "contradictions", lambda job, told: [])
    assert '"order"' not in said(tmp_path, tell)


def choose(rules: object, at: float) -> Callable[[Logbook], None]:
    def tell(logbook: Logbook) -> None:
        (opening,) = logbook.entries(EntryKind.JOB_OPEN)
        told = {"corrects": opening.number, "changes": {"rules": rules}, "reason": "as agreed"}
        logbook.write(Entry(EntryKind.CORRECTION, told, at, job=world.JOB))

    return tell


@pytest.mark.long
@pytest.mark.parametrize("rules", [["coating"], ["datasheet"], [], None, "coating"])
@pytest.mark.few(1)
def test_a_rule_set_that_was_chosen_afterwards_is_told_on_page_1(tmp_path: Path, rules: object, monkeypatch):
    """He drops the set that was not met: page 1 says that it was chosen anew, and when."""
    text = said(tmp_path, choose(rules, LATER))
    assert "The rule sets were chosen anew after the job was opened" in text
    assert "Classed workshop" in text  # the evidence still judges it
    monkeypatch.setattr(page_first, "Mapping", str)  # the control: no correction is looked at
    (tmp_path / "again").mkdir()
    assert "chosen anew" not in said(tmp_path / "again", choose(rules, LATER))
