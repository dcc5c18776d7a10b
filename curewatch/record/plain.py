"""What a record says, for programs: ``account.json``."""

from typing import Any

import numpy as np

from curewatch.advice.judge.rules import Judgement
from curewatch.clock import iso_utc
from curewatch.record.account import Account
from curewatch.record.layer_history import LayerHistory


def as_plain(account: Account) -> dict[str, Any]:
    """What the pages say, as plain values: ``account.json``. Times are ISO 8601, values SI."""
    return {
        "form": "curewatch account 1",
        "job": account.job.name,
        "title": account.job.title,
        "start": iso_utc(account.start),
        "end": iso_utc(account.end),
        "closed": account.closed,
        "zone": str(account.zone),
        "layers": [_plain_course(course) for course in account.courses],
        "rule_sets": [_plain_judgement(one) for one in account.judgements],
        "sensors": [
            {
                "sensor": one.post.name,
                "role": one.post.role,
                "part": one.post.part.name,
                "readings": one.readings,
                "silent_minutes": one.silent_minutes,
                "late": one.late,
                "of_unknown_age": one.of_unknown_age,
            }
            for one in account.heard
        ],
        "minutes": _plain_minutes(account),
    }


def _plain_course(course: LayerHistory) -> dict[str, Any]:
    return {
        "layer": course.layer,
        "started": iso_utc(course.started),
        "resin": course.resin.name if course.resin else None,
        "trouble": course.trouble,
        "unmeasured_minutes": course.unmeasured,
        "blush": course.blush or None,
        "window_closed_by": course.closed_by or None,
        "marks": {
            name: [None if at is None else iso_utc(at) for at in mark] for name, mark in course.marks.items()
        },
        "conversion_at_end": [round(float(each[-1]), 4) for each in course.conversion if each.size],
    }


def _plain_judgement(one: Judgement) -> dict[str, Any]:
    return {
        "name": one.name,
        "source": one.source,
        "outcome": str(one.outcome),
        "rules": [
            {
                "rule": rule.rule,
                "limit": rule.limit.value,
                "quantity": rule.limit.quantity,
                "origin": f"{rule.limit.tag}: {rule.limit.source}",
                "outcome": str(rule.outcome),
                "minutes": rule.minutes,
                "minutes_outside": rule.outside,
                "minutes_unknown": rule.unknown,
                "minutes_in_doubt": rule.in_doubt,
                "record_ended_before": rule.unfinished,
                "first_breach": None if rule.first is None else iso_utc(rule.first),
                "worst": None if rule.worst is None else round(rule.worst, 5),
                "worst_at": None if rule.worst_at is None else iso_utc(rule.worst_at),
            }
            for rule in one.rules
        ],
    }


def _plain_minutes(account: Account) -> dict[str, int]:
    """How many minutes of the job are known and unknown."""
    inside = account.measured.time >= account.start
    margin = account.measured.margin[inside]
    return {"of_the_job": int(inside.sum()), "margin_unknown": int(np.isnan(margin).sum())}
