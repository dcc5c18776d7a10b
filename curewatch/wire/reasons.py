"""Why something that came in is not a reading: short, stable phrases, and what to do about each.

A reason is counted and shown under its phrase, so a phrase never carries a value; the raw bytes
stand beside it.
"""

from enum import StrEnum

from curewatch.readings import Rejected

RAW_LONGEST = 160  # bytes of what came in that a Rejected keeps


class Reason(StrEnum):
    """The phrases. They are part of the interface: scripts and logbooks may rely on them."""

    TOO_LONG = "longer than a line may be"
    TOO_LARGE = "larger than a message may be"
    CUT_OFF = "cut off before its end"
    NOT_TEXT = "not text"
    WRONG_BAUD = "not text: wrong baud rate?"
    NOT_A_LINE = "no form of ours"
    BAD_CHECKSUM = "checksum does not match"
    NO_CHECKSUM = "checksum missing"
    VERSION = "a newer version of the form"
    BAD_NAME = "sensor name not allowed"
    NO_NAME = "names no sensor, and several could be meant"
    BAD_NUMBER = "not a number"
    COMMA = "a comma in a number"
    BAD_TIME = "not a time"
    BAD_UNIT = "unit not known"
    UNIT_TO_COME = "an old temperature whose unit is not stated yet"
    UNITS_DIFFER = "two units stated for one value"
    BAD_JSON = "broken JSON"
    BAD_CBOR = "broken CBOR"
    BAD_SENML = "broken SenML"
    TWICE = "a field given twice"
    MUST_UNDERSTAND = "a field that must be understood and is not"
    NO_QUANTITY = "neither temperature nor humidity"
    BARE = "a number that does not say of what"
    COLUMNS = "numbers that do not say of what"
    TEMPERATURE = "temperature not plausible"
    HUMIDITY = "humidity not plausible"
    FRACTION = "humidity looks like a fraction"
    CARBON_DIOXIDE = "carbon dioxide not plausible"
    PROBE = "what a failed probe sends"
    FAHRENHEIT = "looks like Fahrenheit"
    SWAPPED = "temperature and humidity look swapped"
    CLOCK_UNSET = "stamp from before the sensor's clock was set"
    CLOCK_AHEAD = "stamp in the future"
    CLOCK_BEHIND = "stamp too old"
    DUPLICATE = "came before"
    CONFLICT = "other values for the same moment"
    TWO_DEVICES = "two devices under one name"
    NO_SHED = "a sensor that no shed has"


_CURE = 'wire_units = {{ {} = "{}" }} at its sensor, port or broker in the configuration'

WHAT_TO_DO: dict[str, str] = {
    Reason.TOO_LONG: "something else talks on this line; check what is connected",
    Reason.TOO_LARGE: "no sensor sends so much: narrow the topics of the broker, or stop that sender",
    Reason.CUT_OFF: "check the cable, and that the board prints whole lines",
    Reason.NOT_TEXT: "boot noise is harmless; if it stays, check the cable and the device",
    Reason.WRONG_BAUD: "set the port's baud in the configuration to that of the board",
    Reason.NOT_A_LINE: "see firmware_notes/LINE_FORM.md for the forms that are read",
    Reason.BAD_CHECKSUM: "a byte was lost or changed on the way; check cable length and ground",
    Reason.NO_CHECKSUM: "the line was cut, or the board's code is not the one of firmware_notes",
    Reason.VERSION: "update this program, or load the older code on the board",
    Reason.BAD_NAME: "letters, digits and _ . : / - only, at most 64",
    Reason.NO_NAME: "give sensor = … at its port in the configuration; to replay, --sensor",
    Reason.BAD_NUMBER: "a sensor that fails often prints nan; check its wiring",
    Reason.COMMA: "let it send a decimal point; else at its sensor in the configuration: "
    'fields = { temperature_c = { at = "…", comma = true } }',
    Reason.BAD_TIME: "seconds since 1970, or ISO 8601",
    Reason.BAD_UNIT: f"use degC, degF, K or %; or say which: {_CURE.format('temperature', 'degF')}",
    Reason.UNIT_TO_COME: f"wait for its next report; else say it: {_CURE.format('temperature', 'degF')}",
    Reason.UNITS_DIFFER: "let it state one; correct fields, topics and wire_units in the configuration",
    Reason.BAD_JSON: "check the device's message format",
    Reason.BAD_CBOR: "check the device's message format",
    Reason.BAD_SENML: "check the pack against RFC 8428; firmware_notes/SENML.md has samples",
    Reason.TWICE: "one value for each field; which one is meant cannot be told",
    Reason.MUST_UNDERSTAND: "update this program; the sender insists on a field it does not know",
    Reason.NO_QUANTITY: "name the device's own fields in the configuration: fields = { temperature_c = … }",
    Reason.COLUMNS: "print a header line; or at its port or broker in the configuration: "
    'form = "csv" if they are temperature and humidity, else fields = { temperature_c = "1" }',
    Reason.BARE: 'at its sensor in the configuration: topics = { temperature_c = "the/topic" }',
    Reason.TEMPERATURE: "-40 to 60 degC is believed; check sensor and unit",
    Reason.HUMIDITY: "5 to 102 % is believed; check sensor and unit",
    Reason.FRACTION: f"if it sends 0 to 1, say so: {_CURE.format('humidity', '1')}",
    Reason.CARBON_DIOXIDE: "0 to 100 000 ppm is believed; check sensor and unit",
    Reason.PROBE: "85 or -127 degC is no measurement: check that probe's wiring and its power",
    Reason.FAHRENHEIT: "set the device to degC, or name the field temperature_f",
    Reason.SWAPPED: "exchange the two fields in the configuration or on the board",
    Reason.CLOCK_UNSET: "let the board send an age, or no time at all, until its clock is set",
    Reason.CLOCK_AHEAD: "set the clock: the board's, or this machine's",
    Reason.CLOCK_BEHIND: "set the board's clock; readings this old are not taken as new",
    Reason.DUPLICATE: "nothing: it is counted once",
    Reason.CONFLICT: "two devices use one name, or one device reports twice; give each its own name",
    Reason.TWO_DEVICES: 'give each its own name; or at each sensor: address = "its/whole/topic"',
    Reason.NO_SHED: "give it a table below its shed: [sheds.NAME.sensors.ITS-NAME]",
}


def reject(reason: Reason, raw: bytes, at: float, source: str = "", sensor: str = "") -> Rejected:
    """The rejection, with what came in cut to a bounded length."""
    return Rejected(reason, raw[:RAW_LONGEST], at, source, sensor)
