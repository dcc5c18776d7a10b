"""The seal code: a few letters for the job card that fix everything written before them.

Fourteen characters carry the first 70 bits of the SHA-256 of a seal's text; two more check them, so
that a slip of the pen shows. Digits and capitals without I, L, O and U (Crockford's base-32 alphabet);
reading takes i and l for 1, o for 0, small for capital, and passes over blanks and hyphens.

The check is the value of the fourteen characters modulo 1021, a prime: every single wrong character
and every swap of two neighbours changes it.
"""

from hashlib import sha256

from curewatch.errors import UsageError

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CHARACTERS = 14
CHECKS = 2
PRIME = 1021  # the largest below 32 * 32

_READ_AS = str.maketrans({"I": "1", "L": "1", "O": "0", "-": "", " ": "", "\u2013": ""})


def seal_code(seal_text: str) -> str:
    """The code of a seal's text, in groups of four: ``7K3M-…-…-…``."""
    bits = int.from_bytes(sha256(seal_text.encode()).digest()[:9], "big") >> 2
    return _grouped(_characters(bits, CHARACTERS) + _characters(bits % PRIME, CHECKS))


def read_code(written: str) -> str:
    """The code as somebody wrote it down, in its one form.

    Raises
    ------
    UsageError
        It has the wrong length, a character that is none, or a slip.
    """
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
