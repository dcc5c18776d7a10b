"""The seal code: letters for the job card that fix everything written before them.

Twenty-six characters carry the first 130 bits of the SHA-256 of a seal's text; two more check them, so
that a slip of the pen shows. Digits and capitals without I, L, O and U (Crockford's base-32 alphabet);
reading takes i and l for 1, o for 0, small for capital, and passes over blanks and hyphens.

The check is the value of the twenty-six characters modulo 1021, a prime: every single wrong character
and every swap of two neighbours changes it. A square code carries all 256 bits; where a code is asked
for, those 64 hexadecimal digits are taken too.

Holds against: whoever cannot do 2^65 digests. Whoever writes two histories needs that many for one code
of both; fourteen characters, as they once were, needed 2^35, which is ten seconds' work.
"""

import re
from hashlib import sha256

from curewatch import square
from curewatch.errors import UsageError

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CHARACTERS = 26
CHECKS = 2
PRIME = 1021  # the largest below 32 * 32

_READ_AS = str.maketrans({"I": "1", "L": "1", "O": "0", "-": "", " ": "", "\u2013": ""})
_DIGEST = re.compile(rf"(?:{square.BEFORE})?([0-9A-F]{{64}})")


def seal_code(seal_text: str) -> str:
    """The code of a seal's text, in seven groups of four: ``7K3M-…``."""
    return code_of(seal_digest(seal_text))


def seal_digest(seal_text: str) -> str:
    """All that a code can carry: the SHA-256 of a seal's text, hexadecimal."""
    return sha256(seal_text.encode()).hexdigest()


def code_of(digest: str) -> str:
    """The code of a digest of 64 hexadecimal digits."""
    bits = int(digest, 16) >> (256 - 5 * CHARACTERS)
    return _grouped(_characters(bits, CHARACTERS) + _characters(bits % PRIME, CHECKS))


def read_code(written: str) -> str:
    """The code as somebody wrote it down, in its one form; of 64 digits, the digits.

    Raises
    ------
    UsageError
        It has the wrong length, a character that is none, or a slip.
    """
    digits = _DIGEST.fullmatch(written.strip().upper())
    if digits:
        return digits.group(1).lower()
    plain = written.upper().translate(_READ_AS)
    if len(plain) != CHARACTERS + CHECKS:
        raise UsageError(
            f"a seal code has {CHARACTERS + CHECKS} characters; this one has {len(plain)}: read it again"
        )
    strange = sorted(set(plain) - set(ALPHABET))
    if strange:
        raise UsageError(f"a seal code has no {', '.join(map(repr, strange))}: read it again")
    if _value(plain[:CHARACTERS]) % PRIME != _value(plain[CHARACTERS:]):
        raise UsageError(f"the seal code {_grouped(plain)} has a slip in it: a character is wrong or swapped")
    return _grouped(plain)


def _characters(value: int, count: int) -> str:
    return "".join(ALPHABET[value >> 5 * place & 31] for place in reversed(range(count)))


def _value(characters: str) -> int:
    value = 0
    for character in characters:
        value = value << 5 | ALPHABET.index(character)
    return value


def _grouped(plain: str) -> str:
    return "-".join(plain[n : n + 4] for n in range(0, len(plain), 4))
