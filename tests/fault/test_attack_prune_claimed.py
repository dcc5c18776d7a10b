"""Attack: readings that tell against the owner are said to have been pruned, by an entry of his own words.

What the chain says was pruned may be missing, and is listed with its hours. An entry that claims what is
none, a range without end, or backwards, gives nothing; nor does it take minutes.
"""

from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.record import verification
from curewatch.record.verification import verify_files
from tests.record_attacks import OwnChain, Sealed, shell_check, spent

AT = "2026-11-30T07:00:00.000Z"


def without_a_block(sealed: Sealed, blocks: object) -> tuple[dict[str, bytes], int]:
    """The record without the readings of its ninth block, and an entry that says these were pruned."""
    own = OwnChain(sealed)
    row = own.blocks[8]
    row[7] = "left out"
    prefix = f"{row[0]},".encode()
    kept = [
        line for line in own.files["readings.csv"].splitlines(keepends=True) if not line.startswith(prefix)
    ]
    own.files["readings.csv"] = b"".join(kept)
    own.add(
        "prune",
        {"before": 0.0, "blocks": blocks, "kept_for": [], "readings": 1},
        int(own.blocks[-1][0]),
        None,
        AT,
    )
    return own.made(), int(row[0])


def put(files: dict[str, bytes], folder: Path) -> Path:
    folder.mkdir()
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder


WORDED = [[], [[1, 2]], [[10**14, 10**15]], [[9, 1]], ["all"], [[1]], {"1": 99}, 7, [[0.5, 99.5]], None]


@pytest.mark.long
@pytest.mark.parametrize("blocks", WORDED)
@pytest.mark.few(1)
def test_a_claim_that_does_not_name_the_block_gives_nothing(sealed: Sealed, folder: Path, blocks: object):
    """Left out is left out, to both."""
    begun = spent()
    files, number = without_a_block(sealed, blocks)
    with pytest.raises(RecordBroken):
        verify_files(files)
    said = shell_check(put(files, folder))
    assert said.returncode == 5, said.stdout
    assert spent() - begun < 20
    assert number


@pytest.mark.long
def test_a_claim_that_names_it_changes_what_the_pages_say(sealed: Sealed, folder: Path):
    """The shell takes it, for the chain says so. The account was of all readings: made again it differs."""
    files, number = without_a_block(sealed, [[8, 10]])
    with pytest.raises(RecordBroken, match="what readings and entries give"):
        verify_files(files)
    assert shell_check(put(files, folder)).returncode == 0
    assert 8 <= number <= 10


@pytest.mark.parametrize("blocks", [[], [[1, 2]], [[9, 1]]])
@pytest.mark.few(1)
def test_a_false_claim_holds_where_nothing_is_made_again(
    sealed: Sealed, blocks: object, monkeypatch: pytest.MonkeyPatch
):
    """The control: the chain alone does not tell what is missing of the readings."""
    pages = sealed.pages
    monkeypatch.setattr(verification, "check_said", lambda *_: pages)
    assert verify_files(without_a_block(sealed, blocks)[0])
