"""The document of `observe`."""

from typing import Annotated

from msgspec import UNSET, UnsetType

from curewatch.answers.document import Shape, says


class SawObservationDocument(Shape, frozen=True, kw_only=True):
    """One observation and what it taught."""

    observed: Annotated[str, says("kicked, gelled, tack-free, firm, test cup")]
    entry: Annotated[int | None, says("Its number in the logbook")]
    elapsed_s: Annotated[float, says("When it was observed, from mixing")]
    expected_s: Annotated[float, says("When it was expected")]
    expected_early_s: Annotated[float, says("Early edge")]
    expected_late_s: Annotated[float, says("Late edge")]
    contradicts: Annotated[bool, says("Outside the band that holds 99 of 100")]
    used: Annotated[bool, says("Whether times of this layer take it into account")]
    rate_factor: Annotated[float, says("How many times as fast this lot is held to be now")]
    spread_before: Annotated[float, says("Standard deviation of the logarithm of the rate, before")]
    spread_after: Annotated[float, says("And after")]
    rate_sd: Annotated[float, says("Of the new version")]
    resin: Annotated[str, says("Resin")]
    version: Annotated[int, says("New version")]
    parent: Annotated[str, says("The version it came from")]
    fast_lot: Annotated[float, says("Rate of a fast lot, 95 %")]


class SawDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch observe`."""

    withdrawn: Annotated[int, says("Entry that --undo withdrew")] | UnsetType = UNSET
    lot: Annotated[str, says("The lot it is about")]
    observations: Annotated[list[SawObservationDocument], says("All that count for this lot, in order")]
