"""The kinds of entry, by their word in the file. What each payload holds: DEVELOPERS.md, "Entry kinds"."""

from enum import StrEnum


class Kind(StrEnum):
    """What an entry is about."""

    JOB_OPEN = "job-open"
    JOB_CLOSE = "job-close"
    BATCH = "batch"
    LAYUP = "layup"
    LAYUP_CLOSED = "layup closed"
    PEEL_PLY = "peel-ply"
    WASH = "wash"
    OBSERVATION = "observation"
    QUALITY = "quality"
    NOTE = "note"
    PHOTO = "photo"
    CORRECTION = "correction"
    ALERT = "alert"
    SENSOR_CHECK = "sensor-check"
    GAP = "gap"
    CLOCK = "clock"
    CONFIGURATION = "configuration"
    REJECTED = "rejected"
    SEAL = "seal"
    PRUNE = "prune"
    DAEMON = "daemon"
    SOURCE = "source"
    HEALTH = "health"
    SENSOR = "sensor"
    DROPPED = "dropped"
    VERDICT = "verdict"
