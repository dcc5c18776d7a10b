"""The document of `resin-show`."""

from typing import Annotated

from curewatch.answers.document import Shape, says


class ResinShowValueDocument(Shape, frozen=True, kw_only=True):
    """One of the ``value`` of resin show."""

    key: Annotated[str, says("As in its file")]
    value: Annotated[float, says("Value")]
    unit: Annotated[str, says("Unit")]
    tag: Annotated[str, says("Kind of origin")]
    source: Annotated[str, says("Origin")]
    spread: Annotated[float | None, says("Standard deviation")]
    spread_unit: Annotated[str | None, says("Its unit")]


class ResinShowFilmDocument(Shape, frozen=True, kw_only=True):
    """One of the ``film`` of resin show."""

    temperature_c: Annotated[float, says("At")]
    working_time_s: Annotated[float | None, says("Working time ends")]
    recoat_from_s: Annotated[float | None, says("Next layer may go on")]
    gel_s: Annotated[float | None, says("Gel")]
    tack_free_s: Annotated[float | None, says("Tack-free")]
    firm_s: Annotated[float | None, says("Firm: may be handled")]
    ready_to_sand_s: Annotated[float | None, says("Ready to sand")]


class ResinShowDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch resin show`."""

    name: Annotated[str, says("Name")]
    title: Annotated[str, says("Title")]
    kind: Annotated[str, says("Chemistry")]
    note: Annotated[str, says("A remark")]
    parent: Annotated[str, says("Based on, or empty")]
    version: Annotated[int, says("Version")]
    air_inhibited: Annotated[bool, says("Stays tacky in air")]
    wax: Annotated[bool, says("Carries wax")]
    rate_sd: Annotated[float, says("Spread of lots: standard deviation of the logarithm of the rate")]
    values: Annotated[list[ResinShowValueDocument], says("Every number of the system")]
    film: Annotated[list[ResinShowFilmDocument], says("What it does as a film")]
