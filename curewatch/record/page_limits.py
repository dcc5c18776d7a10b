"""On paper: limits and whether they held, and the sensors that say so."""

from collections.abc import Iterator, Mapping

from curewatch.advice.judge.rules import Judged, RuleOutcome
from curewatch.answers.document import spoken
from curewatch.record.account import Account, SensorShare
from curewatch.record.page import Lead, PageTable, table
from curewatch.record.words import RecordWords, shown


def rules(account: Account, words: RecordWords) -> Iterator[str | Lead | PageTable]:
    """Every rule set, rule by rule."""
    if not account.judgements:
        yield "Nothing was laid up, so no rule has anything to say."
        return
    yield (
        "Judged minute by minute over the time of each rule. “Cannot be shown” means that no "
        "breach was recorded, but that not every minute is known. “+ the rest”: the cure was not finished "
        "when the record ended. “In doubt” counts minutes nearer to the limit "
        "than the sensors can tell. The edition is the beginning of a digest of rules and limits: one "
        "edition judges alike."
    )
    for one in account.judgements:
        told = f"{words.reader.retold(one.source)} (edition {one.edition} of these rules)"
        yield Lead(one.title, spoken(one.outcome), shown(told, 240))
        if one.rules:
            head = (
                "Rule",
                "Limit",
                "Outcome",
                "Out, min",
                "Unknown",
                "In doubt",
                "First breach",
                "Worst",
            )
            rows = [_rule_row(rule, words) for rule in one.rules]
            yield table(head, (26, 9, 10, 12, 9, 9, 12, 14), rows)


def _rule_row(rule: Judged, words: RecordWords) -> tuple[str, ...]:
    worst = words.of_limit(rule.limit, rule.worst)
    if rule.limit.quantity == "duration" and rule.worst is not None:
        worst = f"{worst} of {words.of_limit(rule.limit, rule.limit.value)}"
    if rule.worst_at is not None and rule.limit.quantity != "duration":
        worst = f"{worst}, {words.moment(rule.worst_at)}"
    broken = rule.outcome is RuleOutcome.NOT_MET
    return (
        f"{words.reader.retold(rule.rule)} ({rule.limit.tag})",
        words.of_limit(rule.limit, rule.limit.value),
        spoken(rule.outcome),
        "–" if rule.limit.quantity == "duration" else f"{rule.outside:,} of {rule.minutes:,}",
        f"{rule.unknown:,}" + (" + the rest" if rule.unfinished else ""),
        f"{rule.in_doubt:,}",
        words.moment(rule.first) if broken else "–",
        worst,
    )


def sensors(account: Account, words: RecordWords) -> Iterator[str | PageTable]:
    """What measured, how well, and when it was checked."""
    if not account.heard:
        yield "No sensor was configured."
        return
    head = (
        "Sensor",
        "Stands for",
        "Part, and its error (one standard deviation)",
        "Readings",
        "Silent",
        "Last check",
    )
    yield table(head, (12, 11, 36, 11, 12, 18), [_sensor_row(one, words) for one in account.heard])


def _sensor_row(one: SensorShare, words: RecordWords) -> tuple[str, ...]:
    part = one.post.part
    damp = "" if part.relative_humidity_sd is None else f", ± {part.relative_humidity_sd * 100:.1f} % RH"
    late = f", {one.late:,} late" if one.late else ""
    if one.of_unknown_age:
        late += f"; {one.of_unknown_age:,} of unknown age, not used"
    check = "none on record" if one.checked_at is None else _check(one, words)
    return (
        shown(one.post.name, 40),
        shown(one.post.role, 20),
        f"{shown(part.title, 60)}: ± {words.reader.difference(part.temperature_sd)}{damp}",
        f"{one.readings:,}{late}",
        f"{one.silent_minutes:,} min",
        check,
    )


def _check(one: SensorShare, words: RecordWords) -> str:
    points = (one.check or {}).get("points") or ()
    told = ", ".join(
        f"{shown(point.get('salt', '?'), 12)} {_percent(point.get('found'))}"
        f" for {_percent(point.get('expected'))}"
        for point in points
        if isinstance(point, Mapping)
    )
    day = words.day(one.checked_at or 0.0)
    due = (one.check or {}).get("due")
    day += f" (next due {words.day(due) if isinstance(due, int | float) else shown(due, 20)})" if due else ""
    correction = (one.check or {}).get("correction")
    if isinstance(correction, Mapping):
        gain = shown(correction.get("gain"), 8)
        told += f"; corrected since: {_percent(correction.get('offset'))} + {gain} x reported"
    return f"{day}: {told}" if told else day


def _percent(value: object) -> str:
    return f"{value * 100:.1f} %" if isinstance(value, int | float) else "–"
