"""The document of `doctor`."""

from typing import Annotated, Literal

from curewatch.answers.document import Shape, says


class DoctorFindingDocument(Shape, frozen=True, kw_only=True):
    """One of the ``finding`` of doctor."""

    about: Annotated[str, says("configuration, sensor.NAME, source.NAME, clock, disk …")]
    grade: Annotated[Literal["good", "care", "bad"], says("How it stands")]
    seen: Annotated[str, says("What was seen")]
    advised: Annotated[str, says("What to do, or empty")]


class DoctorDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch doctor`."""

    trusted: Annotated[bool, says("Whether a layup could be trusted to it")]
    findings: Annotated[list[DoctorFindingDocument], says("One line each")]
