"""On the first page: why a rule set was not met, what was otherwise than planned, and who signed for it."""

from collections.abc import Iterable, Iterator, Mapping

from curewatch.advice.judge.rules import Judged, Judgement, RuleOutcome
from curewatch.logbook import EntryKind
from curewatch.record.account import Account
from curewatch.record.page import PageTable, of, table
from curewatch.record.words import RecordWords, shown, span
from curewatch.units import MINUTE


def chosen(account: Account) -> tuple[Judgement, ...]:
    """The rule sets that the job chose; where it chose none, that of the shed; else its resin's sheet."""
    told = account.job.opened.payload.get("rules") or [dict(account.setting.get("limits", {})).get("rules")]
    names = {str(one).replace(" ", "-") for one in (told if isinstance(told, list) else [told])}
    found = tuple(one for one in account.judgements if one.name in names)
    return found or tuple(one for one in account.judgements if one.name == "datasheet")


def reasons(account: Account, words: RecordWords) -> Iterator[str]:
    """One sentence for each rule set that the job chose: met, or why not."""
    for change in account.job.opened.corrections:
        changes = change.payload.get("changes")
        if isinstance(changes, Mapping) and "rules" in changes:
            told = f"entry {change.number}, {words.full(change.recorded)}"
            yield f"The rule sets were chosen anew after the job was opened: {told}."
    for one in chosen(account):
        worst = _heaviest(one.rules)
        if one.outcome is RuleOutcome.MET:
            yield f"{one.title}: met, every rule in every minute."
        elif worst is None:
            yield f"{one.title}: cannot be shown, {shown(one.source, 120)}."
        elif one.outcome is RuleOutcome.NOT_MET:
            yield f"{one.title}: not met. {_breach(worst, words)}"
        else:
            hours = span(worst.unknown * MINUTE)
            rest = " and the cure was not over when the record ended" if worst.unfinished else ""
            what = words.reader.retold(worst.rule)
            missing = f"{hours} of readings are missing" if worst.unknown else "not every minute is known"
            yield f"{one.title}: cannot be shown. For “{what}” {missing}{rest}."


def _heaviest(rules: Iterable[Judged]) -> Judged | None:
    """The rule that was broken for longest, else the one that is known least."""
    order = {RuleOutcome.NOT_MET: 2, RuleOutcome.NOT_SHOWN: 1, RuleOutcome.MET: 0}
    return max(rules, key=lambda one: (order[one.outcome], one.outside, one.unknown), default=None)


def _breach(one: Judged, words: RecordWords) -> str:
    what, worst = words.reader.retold(one.rule), words.of_limit(one.limit, one.worst)
    asked = words.of_limit(one.limit, one.limit.value)
    if one.limit.quantity == "duration":
        return f"For “{what}” {asked} is asked and {worst} was."
    when = "" if one.worst_at is None else f", {words.moment(one.worst_at)}"
    return (
        f"“{what}” was broken for {span(one.outside * MINUTE)}; the worst was {worst}{when}, asked {asked}."
    )


def deviations(account: Account, words: RecordWords) -> Iterator[str | PageTable]:
    """What was otherwise than planned, what was decided, by whom; and who signed."""
    told = account.job.of(EntryKind.DEVIATION)
    if told:
        rows = [
            (
                words.moment(one.at),
                of(one.payload, "deviation"),
                of(one.payload, "decision"),
                of(one.payload, "decided_by"),
            )
            for one in told
        ]
        yield table(("When", "Deviation", "Decision", "Decided by"), (14, 38, 34, 14), rows)
    yield _signed("done", "Done as written", account, words)
    yield _signed("checked", "Checked", account, words)


def _signed(role: str, title: str, account: Account, words: RecordWords) -> str:
    found = [one for one in account.job.of(EntryKind.SIGN_OFF) if one.payload.get("role") == role]
    if not found:
        return f"{title}: nobody signed."
    last = found[-1]
    text = last.payload.get("text")
    return f"{title}: {of(last.payload, 'by')}, {words.full(last.at)}." + (
        f" {shown(text, 200)}" if text else ""
    )
