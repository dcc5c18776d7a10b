"""The doctor's findings as lines of text: the answer first, then each finding; of many sensors a summary."""

from collections.abc import Iterator

from curewatch.answers.doctor import DoctorDocument, FindingDocument, Grade
from curewatch.cli.screens.lines import wrapped
from curewatch.safe_text import safe_line

MARK = {Grade.GOOD: "good", Grade.CARE: "CARE", Grade.BAD: "BAD "}
MANY = 8  # sensors from which they are summed up, a finding for each grade
NAMED = 3  # of those that are named


def lines(doctor: DoctorDocument, *, why: bool = False) -> list[str]:
    """Whether a layer could be trusted to it, and why; with ``why`` each of many sensors."""
    bad = sum(finding.grade is Grade.BAD for finding in doctor.findings)
    said = ["Ready." if doctor.trusted else f"Not ready: {bad} BAD below."]
    sensors = [each for each in doctor.findings if each.about.startswith("sensor.")]
    summed = len(sensors) > MANY and not why
    for finding in doctor.findings:
        if not summed or finding not in sensors:
            said += _finding(finding)
        elif finding is sensors[0]:
            said += [line for grade in Grade for line in _summed(grade, sensors)]
    return said


def _finding(finding: FindingDocument) -> Iterator[str]:
    head = f"{MARK[finding.grade]}  {safe_line(finding.about)}: "
    yield from wrapped(head + safe_line(finding.finding), "", "      ", 79)
    if finding.advised:
        yield from wrapped(f"-> {safe_line(finding.advised)}", "      ", "         ", 79)


def _summed(grade: Grade, sensors: list[FindingDocument]) -> Iterator[str]:
    """The sensors of one grade: how many, the first of them by name, and what the first one needs."""
    found = [each for each in sensors if each.grade is grade]
    if not found:
        return
    names = ", ".join(safe_line(each.about.removeprefix("sensor."), 24) for each in found[:NAMED])
    more = f" and {len(found) - NAMED} more" if len(found) > NAMED else ""
    head = f"{MARK[grade]}  sensors: {len(found)} of {len(sensors)}"
    if grade is Grade.GOOD:
        yield from wrapped(f"{head}; each with doctor --why", "", "      ", 79)
        return
    yield from wrapped(f"{head}: {names}{more}; each with doctor --why", "", "      ", 79)
    yield from wrapped(f"first: {safe_line(found[0].finding)}", "      ", "      ", 79)
    if found[0].advised:
        yield from wrapped(f"-> {safe_line(found[0].advised)}", "      ", "         ", 79)
