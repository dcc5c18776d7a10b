"""Time stamps: somebody else says when a seal was there already (RFC 3161).

Theory of operation
-------------------
Whoever holds the key can seal a history that he made up, with any date. An authority that dates digests
cannot see what it dates, and it cannot be asked for yesterday. The digest of the newest seal goes to it, 70
bytes; what comes back is an entry ``stamp``. A seal covers every line before it, so the newest seal is dated
for all of them. What could not be sent is sent with the next seal: nothing waits but the seals themselves.

A stamp holds as long as its authority's certificate is believed. The next seal covers the stamp, and the
stamp of that seal renews it. ``roots`` are the certificates that the owner trusts; who verifies has his own.

Everything works without an authority. Then a record is dated by nobody else, and says so.
"""

import base64
import re
from collections.abc import Iterable
from datetime import UTC
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

from curewatch.clock import iso_utc
from curewatch.errors import ConfigurationError, CurewatchError, RecordBroken, StoreFailed, reason
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.port import LogbookStore
from curewatch.logbook.seal_code import seal_digest
from curewatch.logbook.sealing import Seal, seals

_KEYS = {"digest", "response", "roots"}  # of an entry, and nothing else: all that is said follows from them
_DIGEST = re.compile("[0-9a-f]{64}")
LARGEST = 65_536  # bytes of an answer, and of the certificates
PATIENCE = 10.0  # s for one request
NO_AUTHORITY = "no authority is configured"


class Authority(NamedTuple):
    """Where digests are dated, and the certificates that its answers must lead to."""

    address: str
    roots: bytes  # PEM


class Stamp(NamedTuple):
    """What an authority says of one digest."""

    digest: str  # of a seal's text, hexadecimal
    at: str  # ISO 8601
    by: str  # its name, as its certificate has it
    root: str  # SHA-256 of the certificate that it leads to, hexadecimal
    ends: str  # when its certificate ends, ISO 8601
    response: bytes
    roots: bytes  # PEM


def read_authority(address: str | None, roots: Path | None) -> Authority | None:
    """The authority that is configured; none if none is.

    Raises
    ------
    ConfigurationError
        Only one of both is given, or there are no certificates.
    """
    if address is None and roots is None:
        return None
    if address is None or roots is None:
        raise ConfigurationError(
            "logbook.stamp_authority without its roots, or the other way round",
            "stamp_authority and stamp_roots_file together",
        )
    return Authority(address, read_roots(roots))


def read_roots(file: Path) -> bytes:
    """Certificates in PEM form.

    Raises
    ------
    ConfigurationError
        There is no such file, or it holds none.
    """
    try:
        with file.open("rb") as opened:
            content = opened.read(LARGEST)
    except OSError as trouble:
        raise ConfigurationError(reason(trouble), "certificates in PEM form", file=file) from trouble
    if b"-----BEGIN CERTIFICATE-----" not in content:
        raise ConfigurationError("no certificate", "certificates in PEM form", file=file)
    return content


def date_newest(logbook: LogbookStore, address: str | None, roots: Path | None, at: float) -> str:
    """Have the newest seal dated by the authority that is configured; why it was not, or nothing. UTC [s]

    What cannot be dated now is covered by the next seal, and dated with it: it never hinders a seal.
    """
    if not logbook.sealed_here:  # who sealed it had it dated
        return "" if _is_dated(logbook, seals(logbook)) else "the service did not have it dated"
    try:
        authority = read_authority(address, roots)
        if authority is None:
            return NO_AUTHORITY
        stamp_last(logbook, authority, at)
    except CurewatchError as trouble:
        return str(trouble)
    return ""


def _is_dated(logbook: LogbookStore, sealed: list[Seal]) -> bool:
    """Whether there is a stamp of the newest seal."""
    told = logbook.entries(EntryKind.STAMP)
    return bool(sealed) and any(one.payload.get("digest") == sealed[-1].digest for one in told)


def stamp_last(logbook: LogbookStore, authority: Authority, at: float) -> StoredEntry | None:
    """Have the newest seal dated, if it is not yet; none if there is nothing to date. ``at`` is UTC [s].

    Raises
    ------
    StoreFailed
        The authority cannot be reached, or its answer is none. The seal waits for the next time.
    """
    sealed = seals(logbook)
    if not sealed or _is_dated(logbook, sealed):
        return None
    found = ask(authority, sealed[-1].text)
    payload = {
        "digest": found.digest,
        "response": base64.b64encode(found.response).decode(),
        "roots": found.roots.decode("ascii"),
    }
    return logbook.write(Entry(EntryKind.STAMP, payload, at, key=f"stamp {found.digest}"))


def ask(authority: Authority, text: str) -> Stamp:
    """The authority's word for this text, a seal's for instance, checked."""
    import urllib.request

    from rfc3161_client import HashAlgorithm, TimestampRequestBuilder

    builder = TimestampRequestBuilder().hash_algorithm(HashAlgorithm.SHA256)
    query = builder.data(text.encode()).cert_request(cert_request=True).build().as_bytes()
    try:
        request = urllib.request.Request(  # noqa: S310 - the owner's own configuration names it
            authority.address, query, {"Content-Type": "application/timestamp-query"}
        )
        with urllib.request.urlopen(request, timeout=PATIENCE) as answer:  # noqa: S310
            response = answer.read(LARGEST)
    except (OSError, ValueError) as trouble:
        raise StoreFailed(
            f"the stamp authority {authority.address}: {trouble}. The seal is dated with the next one"
        ) from trouble
    try:
        return check(response, seal_digest(text), authority.roots)
    except RecordBroken as trouble:
        raise StoreFailed(f"the stamp authority {authority.address}: {trouble}") from trouble


def check(response: bytes, digest: str, roots: bytes) -> Stamp:
    """What this response says, checked against these certificates at the time that it names.

    Raises
    ------
    RecordBroken
        It dates another digest, or was not signed by whom these certificates vouch for.
    """
    from cryptography import x509
    from rfc3161_client import decode_timestamp_response

    try:
        said: Any = decode_timestamp_response(response)
        root = _vouching(said, digest, x509.load_pem_x509_certificates(roots))
        signer = _signer(said)
    except Exception as trouble:  # the library raises many kinds, some of them its own
        raise RecordBroken(
            "the time stamp", f"digest {digest}, dated by the authority that is trusted", f"{trouble}"[:120]
        ) from trouble
    return Stamp(
        digest=digest,
        at=iso_utc(said.tst_info.gen_time.astimezone(UTC).timestamp()),
        by=signer.subject.rfc4514_string()[:120],
        root=sha256(root.public_bytes(_der())).hexdigest(),
        ends=iso_utc(signer.not_valid_after_utc.timestamp()),
        response=response,
        roots=roots,
    )


def _vouching(said: Any, digest: str, trusted: list[Any]) -> Any:
    """The one of these certificates that a response leads to; one beside it vouches for nothing."""
    from rfc3161_client import VerificationError, VerifierBuilder

    if not _DIGEST.fullmatch(digest):
        raise ValueError("no digest")
    for number, one in enumerate(trusted, 1):
        try:
            VerifierBuilder().add_root_certificate(one).build().verify(said, bytes.fromhex(digest))
        except VerificationError:
            if number == len(trusted):
                raise
        else:
            return one
    raise ValueError("no certificate")


def _der() -> Any:
    from cryptography.hazmat.primitives.serialization import Encoding

    return Encoding.DER


def _signer(said: Any) -> Any:
    """The certificate that signed."""
    from cryptography import x509

    (info,) = said.signed_data.signer_infos
    every = [x509.load_der_x509_certificate(one) for one in said.signed_data.certificates]
    return next(one for one in every if (one.issuer, one.serial_number) == (info.issuer, info.serial_number))


def stamp_of(stored: StoredEntry, roots: bytes | None = None) -> Stamp:
    """The stamp that an entry holds, checked against these certificates, or those it names itself.

    Raises
    ------
    RecordBroken
        It is none, or says something else than the entry.
    """
    told = stored.payload
    try:
        response = base64.b64decode(str(told["response"]), validate=True)
        named = str(told["roots"]).encode("ascii")
        found = check(response, str(told["digest"]), roots or named)
    except (KeyError, ValueError) as trouble:
        raise RecordBroken(f"entry {stored.number} (stamp)", "a time stamp", f"{trouble!r}"[:80]) from trouble
    if set(told) != _KEYS or not all(isinstance(value, str) for value in told.values()):
        raise RecordBroken(f"entry {stored.number} (stamp)", "a time stamp and nothing else", "more, or less")
    return found


def stamps(entries: Iterable[StoredEntry], roots: bytes | None = None) -> list[Stamp]:
    """Every stamp among these entries, checked."""
    return [stamp_of(one, roots) for one in entries if one.kind == EntryKind.STAMP]
