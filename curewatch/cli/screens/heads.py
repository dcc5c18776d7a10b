"""The list of heads as lines."""

from curewatch.answers.heads import HeadsDocument
from curewatch.clock import utc_from_iso
from curewatch.safe_text import safe_line
from curewatch.wording import Wording


def lines(answer: HeadsDocument, words: Wording, now: float) -> list[str]:
    """What was done, each shed with its seal, and the code to keep elsewhere."""
    made = words.moment(utc_from_iso(answer.at), now)
    count = f"{len(answer.heads)} {'shed' if len(answer.heads) == 1 else 'sheds'}"
    first = (
        f"{count}: every chain holds what was listed {made}" if answer.checked else f"{count} listed {made}"
    )
    wide = max(len(each.shed) for each in answer.heads)
    told = [first, *(f"{each.shed:<{wide}}  block {each.block}  seal {each.seal}" for each in answer.heads)]
    if answer.dated is not None:
        dated = words.moment(utc_from_iso(answer.dated.at), now)
        told.append(f"Dated {dated} by {safe_line(answer.dated.by)}.")
    else:
        told.append("Dated by nobody else.")
    told.append(f"list code  {answer.code}")
    if not answer.checked:
        told.append(f"Keep {safe_line(answer.file)} on another machine: it fixes the chain of each shed.")
    return told
