"""The doctor's findings as lines of text: the answer first, then each finding, in 80 columns."""

from textwrap import wrap

from curewatch.answers.doctor import DoctorDocument, Grade
from curewatch.cli.safe_text import safe_line

MARK = {Grade.GOOD: "good", Grade.CARE: "CARE", Grade.BAD: "BAD "}


def lines(doctor: DoctorDocument) -> list[str]:
    """Whether a layer could be trusted to it, and why."""
    bad = sum(finding.grade is Grade.BAD for finding in doctor.findings)
    said = ["Ready." if doctor.trusted else f"Not ready: {bad} BAD below."]
    for finding in doctor.findings:
        head = f"{MARK[finding.grade]}  {safe_line(finding.about)}: "
        said += wrap(head + safe_line(finding.finding), 79, subsequent_indent="      ")
        if finding.advised:
            said += wrap(f"      -> {safe_line(finding.advised)}", 79, subsequent_indent="         ")
    return said
