"""The document of `doctor`: findings, each with what to do."""

from collections.abc import Iterable
from enum import StrEnum
from typing import Annotated

from curewatch.answers.document import Shape, says


class Grade(StrEnum):
    """How one thing is."""

    GOOD = "good"
    CARE = "care"  # works, but see to it
    BAD = "bad"  # a layer cannot be trusted to it


class FindingDocument(Shape, frozen=True, kw_only=True):
    """How one thing stands."""

    about: Annotated[str, says("configuration, sensor.NAME, source.NAME, clock, disk …")]
    grade: Annotated[Grade, says("How it stands")]
    finding: Annotated[str, says("What was found")]
    advised: Annotated[str, says("What to do, or empty")]
    exit_status: Annotated[int, says("What it makes of the exit status; 0 unless it is bad")]


class DoctorDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch doctor`."""

    trusted: Annotated[bool, says("Whether a layer could be trusted to it")]
    findings: Annotated[list[FindingDocument], says("One line each")]


def doctor_document(findings: Iterable[FindingDocument]) -> DoctorDocument:
    """All findings; one that is bad takes the trust away."""
    found = list(findings)
    return DoctorDocument(trusted=all(each.grade is not Grade.BAD for each in found), findings=found)
