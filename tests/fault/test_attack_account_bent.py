"""Attack: the owner bends what the account rests on and not what it says: units, resins, edition, block.

The entry names what is needed to make the pages again. He writes the chain himself, all else is right.
"""

from collections.abc import Callable
from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.record import verification
from curewatch.record.verification import verify_files
from tests.record_attacks import OwnChain, Sealed


def other_units(told: dict) -> None:
    told["units"]["fahrenheit"] = True


def no_units(told: dict) -> None:
    told["units"] = 7


def a_quicker_resin(told: dict) -> None:
    told["resins"] = {"epoxy-slow": 'based_on = "epoxy-fast"\n'}


def a_path_for_a_resin(told: dict) -> None:
    told["resins"] = {"../../epoxy-slow": "x", "/etc/passwd": "x"}


def a_bomb_for_a_resin(told: dict) -> None:
    told["resins"] = {"epoxy-slow": "a." * 100_000 + "b = 1"}


def no_resins(told: dict) -> None:
    del told["resins"]


def another_block(told: dict) -> None:
    told["block"] = 3


def another_digest(told: dict) -> None:
    told["account"] = told["account"][::-1]


BENT = [other_units, no_units, a_quicker_resin, a_bomb_for_a_resin, no_resins, another_block, another_digest]


@pytest.mark.parametrize("bend", BENT)
def test_pages_made_on_other_grounds_are_found(sealed: Sealed, bend: Callable[[dict], None], monkeypatch):
    """Made again they are others, or cannot be made. The control: not made again, most of them hold."""
    own = OwnChain(sealed)
    bend(own.of_kind("account")["payload"])
    files = own.made()
    with pytest.raises(RecordBroken):
        verify_files(files)
    if bend in (other_units, a_quicker_resin, no_units, no_resins):
        pages = sealed.pages
        monkeypatch.setattr(verification, "check_said", lambda *_: pages)
        assert verify_files(files)


def test_a_path_is_no_name_of_a_resin(sealed: Sealed, tmp_path: Path):
    """Passed over: nothing is written anywhere, and the pages are those of the resin that is known."""
    own = OwnChain(sealed)
    a_path_for_a_resin(own.of_kind("account")["payload"])
    assert verify_files(own.made())
    assert not list(tmp_path.iterdir())
