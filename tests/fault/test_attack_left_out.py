"""Attack: the owner leaves out an entry that tells against him, and signs the record again.

The chain holds without it, for an entry may be there by its digest alone. Its line in the list tells
its kind and its owner, so one of this job, or one of the shed while the job ran, is missed.
"""

from pathlib import Path

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.logbook.entry import owner, stored
from curewatch.logbook.sealing import seal
from curewatch.record import proof, verification
from curewatch.record.examination import verify
from curewatch.record.proof import SHED_WIDE
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import ATTACKERS, Sealed, answers, attacked, lines, own_copy, shell_check

OWN = (
    *(EntryKind.JOB_OPEN, EntryKind.NOTE, EntryKind.BATCH, EntryKind.LAYER, EntryKind.OBSERVATION),
    *(EntryKind.QUALITY, EntryKind.WASH, EntryKind.PEEL_PLY, EntryKind.JOB_CLOSE),
)
OF_SHED = (EntryKind.GAP, EntryKind.REJECTED, EntryKind.SEAL, EntryKind.ALERT)


def without(files: dict[str, bytes], kind: str, place: int) -> bytes:
    """The entries but for the first or the last one of this kind."""
    every = lines(files["entries.jsonl"])
    taken = [line for line in every if stored(line.decode()).kind == kind][place]
    return b"".join(line for line in every if line != taken)


@pytest.mark.few(3)
@pytest.mark.parametrize("place", [0, -1])
@pytest.mark.parametrize("kind", [*OWN, *OF_SHED])
def test_an_entry_left_out_is_missed(sealed: Sealed, folder: Path, kind: str, place: int):
    """Program and shell name it, or say that the job has no opening."""
    found = answers(
        attacked(sealed, lambda files: {"entries.jsonl": without(files, kind, place)}, ATTACKERS[2]), folder
    )
    assert "left out" in found.broken or "opening" in found.broken
    assert found.shell == 5
    assert "left out" in found.said or "opening" in found.said


def test_a_left_out_entry_cannot_be_given_to_another_job(sealed: Sealed, folder: Path):
    """Its line in the list is changed to that of another owner: the block's digest no longer fits."""
    every = [stored(line.decode()) for line in lines(sealed.files["entries.jsonl"])]
    note = [one for one in every if one.kind == EntryKind.NOTE][-1]

    def change(files: dict[str, bytes]) -> dict[str, bytes]:
        mine, other = owner(note.job).encode(), owner("mast-step").encode()
        rows = [
            row.replace(mine, other) if row.split(b",")[1] == str(note.number).encode() else row
            for row in lines(files["digests.csv"])
        ]
        return {"digests.csv": b"".join(rows), "entries.jsonl": without(files, note.kind, -1)}

    found = answers(attacked(sealed, change, ATTACKERS[2]), folder)
    assert found.broken.startswith("entries of block")
    assert found.shell == 5


def test_another_job_stays_unnamed(sealed: Sealed):
    """Its entry is there by digest alone, and no file of the record has its name."""
    assert not any(b"mast-step" in content for content in sealed.files.values())
    assert owner("mast-step").encode() in sealed.files["digests.csv"]


def test_shell_and_program_know_the_same_kinds(sealed: Sealed):
    """The page of shell lists what may not be left out of the shed's entries."""
    said = sealed.files["check.sh"].decode().split('split("')[1].split('"')[0]
    assert set(said.split()) == set(map(str, SHED_WIDE))


@pytest.mark.long
def test_the_code_of_another_job_s_closing_is_found(
    sealed: Sealed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """It stands on a card, too, and covers this job; no name tells whose it is. Left out, it is missed."""
    at = world.OPENED + 6 * DAY
    with Logbook(own_copy(sealed, tmp_path)) as logbook:
        logbook.write(Entry(EntryKind.JOB_OPEN, {"title": "mast step"}, at, job="mast-step"))
        other = seal(logbook, reason="job-close", at=at + 1)
        made = write(logbook, world.JOB, tmp_path / "with", at=at + 2).folder
        monkeypatch.setattr(proof, "SHED_WIDE", tuple(kind for kind in SHED_WIDE if kind != EntryKind.SEAL))
        monkeypatch.setattr(verification, "SHED_WIDE", proof.SHED_WIDE)
        without_it = write(logbook, world.JOB, tmp_path / "without", at=at + 3).folder
    assert made is not None
    assert without_it is not None
    with pytest.raises(RecordBroken, match="code"):
        verify(without_it, code=other.code)
    monkeypatch.undo()
    assert verify(made, code=other.code)
    assert shell_check(made, other.code).returncode == 0
    assert shell_check(without_it, other.code).returncode == 5
    assert b"mast-step" not in (made / "entries.jsonl").read_bytes()
