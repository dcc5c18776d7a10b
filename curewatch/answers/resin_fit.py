"""The document of `resin-fit`."""

from typing import Annotated, Literal

from curewatch.answers.document import Shape, says


class ResinFitStatementDocument(Shape, frozen=True, kw_only=True):
    """One of the ``statement`` of resin fit."""

    title: Annotated[str, says("In words")]
    line: Annotated[int, says("In the form")]
    unit: Annotated[Literal["s", "degC"], says("Of the figures")]
    stated: Annotated[float, says("By the sheet")]
    computed: Annotated[float, says("By the fit")]
    early: Annotated[float, says("Lower edge")]
    late: Annotated[float, says("Upper edge")]
    pull: Annotated[float, says("Miss in standard deviations of the statement")]
    verdict: Annotated[str, says("met or not")]


class ResinFitContradictionDocument(Shape, frozen=True, kw_only=True):
    """One of the ``contradiction`` of resin fit."""

    one: Annotated[str, says("Statement")]
    other: Annotated[str, says("Statement")]
    expected: Annotated[list[float], says("What the other would be if the one holds")]
    stated: Annotated[float, says("What it says")]


class ResinFitRecoatBeforeItOpensDocument(Shape, frozen=True, kw_only=True):
    """One of the ``recoat_before_it_opens`` of resin fit."""

    closes_s: Annotated[float, says("As stated")]
    opens_s: Annotated[float, says("By the other statements")]


class ResinFitStillUnknownDocument(Shape, frozen=True, kw_only=True):
    """One of the ``still_unknown`` of resin fit."""

    what: Annotated[str, says("What")]
    would_tell: Annotated[str, says("A statement that would")]


class ResinFitDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch resin fit SHEET.toml`."""

    name: Annotated[str, says("Name of the system")]
    based_on: Annotated[str, says("Archetype")]
    source: Annotated[str, says("The sheet")]
    band: Annotated[str, says("What the bands hold")]
    statements: Annotated[list[ResinFitStatementDocument], says("How well each is met")]
    contradictions: Annotated[list[ResinFitContradictionDocument], says("Pairs that do not go together")]
    recoat_before_it_opens: Annotated[
        ResinFitRecoatBeforeItOpensDocument | None,
        says("A stated recoat limit that comes before the window opens; null if there is none"),
    ]
    still_unknown: Annotated[list[ResinFitStillUnknownDocument], says("What the sheet does not tell")]
    assumed: Annotated[list[str], says("Of the mix, where the sheet is silent")]
    covariance_keys: Annotated[list[str], says("Numbers whose covariance is kept")]
