"""Quality checks of a cured laminate, as they are done without a laboratory."""

from collections.abc import Mapping
from statistics import fmean
from typing import Any

from curewatch.errors import UsageError

BARCOL_SCALE = (0.0, 100.0)  # ASTM D2583: the impressor's dial has 100 divisions
STANDARD_GRAVITY = 9.80665  # m/s2, ISO 80000-3


TAKES = {"barcol": {"value", "readings"}, "thickness": {"readings"}, "peel coupon": {"load", "arm"}}


def require_its_own(told: Mapping[str, Any]) -> None:
    """Raise UsageError where something was told that a check of this kind has no use for."""
    check, each = str(told["check"]), {"value", "readings", "load", "arm"} & set(told)
    strange = sorted(each - TAKES.get(check, set()))
    if strange:
        raise UsageError(f"--{strange[0]}: found one for the check {check}, which has none. Leave it out")
    if {"value", "readings"} <= each:
        raise UsageError("--value: found it beside --readings, whose mean is the value. Leave one out")


def barcol(reading: float) -> float:
    """A Barcol hardness as read from the dial. [1]

    Raises
    ------
    UsageError
        It is not on the dial.
    """
    lowest, highest = BARCOL_SCALE
    if not lowest <= reading <= highest:
        raise UsageError(f"a Barcol reading of {reading:g}; the dial goes from {lowest:g} to {highest:g}")
    return reading


def peeling_moment(load: float, arm: float) -> float:
    """Moment that a weight on a lever puts on a peel coupon: load x lever arm.

    Parameters
    ----------
    load : float
        Mass hung on the lever, above 0. [kg]
    arm : float
        From the coupon's edge to the load, above 0. [m]

    Returns
    -------
    float
        [N m]

    Raises
    ------
    UsageError
        Either is not above zero.

    Source
    ------
    Statics; the weight is mass times standard gravity (ISO 80000-3).
    """
    if load <= 0 or arm <= 0:
        raise UsageError(f"a peel coupon with {load:g} kg on {arm:g} m; both must be above 0")
    return load * STANDARD_GRAVITY * arm


def measured(payload: Mapping[str, Any]) -> dict[str, Any]:
    """Value and unit of a check, from what its form was filled with.

    Raises
    ------
    UsageError
        What the check needs is missing.
    """
    match payload["check"]:
        case "barcol":
            found = payload.get("readings") or [payload[key] for key in ("value",) if key in payload]
            if not found:
                raise UsageError("a Barcol check needs its reading: --value 35, or --readings 35,37,36")
            return {"value": fmean(map(barcol, found)), "unit": "Barcol"}
        case "thickness":
            if not payload.get("readings"):
                raise UsageError("a thickness needs its readings in mm: --readings 4.1,4.3,4.0")
            return {"value": fmean(payload["readings"]), "unit": "mm"}
        case "peel coupon":
            if "load" not in payload or "arm" not in payload:
                raise UsageError(
                    "a peel coupon needs its load (--load 2 kg) and lever arm (--arm 120, in mm)"
                )
            return {"value": peeling_moment(payload["load"], payload["arm"]), "unit": "N m"}
        case _:
            return {}
