"""Attack: a true stamp of something else, or one by whom nobody trusts, is made to date this record.

Everything is signed by the owner. Program, page of shell, and that with busybox and openssl say the same.
"""

import base64
import re
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from rfc3161_client import HashAlgorithm, TimestampRequestBuilder

from curewatch.clock import iso_utc
from curewatch.errors import RecordBroken
from curewatch.logbook import Logbook, stamping
from curewatch.logbook.stamping import Authority
from curewatch.record import verification
from curewatch.record.examination import verify
from curewatch.record.proof import LISTED, checksums
from curewatch.record.verification import FILES, verify_files
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import OwnChain, Sealed, own_copy, shell_check
from tests.stamping_authority import StampingAuthority, serving

LATER = world.OPENED + 5 * DAY


class Harbour(NamedTuple):
    """An authority that is trusted, and the owner's own."""

    trusted: StampingAuthority
    own: StampingAuthority


@pytest.fixture(scope="module")
def harbour(tmp_path_factory: pytest.TempPathFactory) -> Harbour:
    place = tmp_path_factory.mktemp("authorities")
    return Harbour(StampingAuthority(place / "a"), StampingAuthority(place / "b", "rival"))


@pytest.fixture(scope="module")
def dated(harbour: Harbour, sealed: Sealed, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The files of a record that the trusted authority dated."""
    place = tmp_path_factory.mktemp("dated")
    with serving(harbour.trusted.answer) as address, Logbook(own_copy(sealed, place)) as logbook:
        authority = Authority(address, harbour.trusted.roots.read_bytes())
        folder = write(logbook, world.JOB, place / "r", at=LATER, pdf=False, authority=authority).folder
    assert folder is not None
    return {name: (folder / name).read_bytes() for name in FILES}


def query(text: bytes) -> bytes:
    builder = TimestampRequestBuilder().hash_algorithm(HashAlgorithm.SHA256).data(text)
    return builder.cert_request(cert_request=True).build().as_bytes()


def with_certificate(authority: StampingAuthority, folder: Path, begins: float, ends: float, use: Any) -> Any:
    """The authority with another certificate under its root: valid from and to these days from now."""
    shutil.copytree(authority.folder, folder)
    made = object.__new__(StampingAuthority)
    made.folder, made.name, made.roots = folder, authority.name, folder / authority.roots.name
    text = (folder / "ts.cnf").read_text().replace(str(authority.folder), str(folder))
    (folder / "ts.cnf").write_text(text)
    root = x509.load_pem_x509_certificate(made.roots.read_bytes())
    keys = [
        serialization.load_pem_private_key((folder / f"{made.name}{part}.key").read_bytes(), None)
        for part in ("-root", "")
    ]
    now = datetime.now(UTC)
    builder = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"{made.name} stamps")]))
        .issuer_name(root.subject)
        .public_key(keys[1].public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now + timedelta(days=begins))
        .not_valid_after(now + timedelta(days=ends))
        .add_extension(x509.ExtendedKeyUsage([use]), critical=True)
    )
    signed = builder.sign(keys[0], hashes.SHA256())  # type: ignore[arg-type]
    (folder / f"{made.name}.pem").write_bytes(signed.public_bytes(serialization.Encoding.PEM))
    return made


def expired(harbour: Harbour, folder: Path, text: bytes) -> bytes:
    """Its certificate had ended when it dated."""
    made = with_certificate(harbour.trusted, folder, -20, -10, ExtendedKeyUsageOID.TIME_STAMPING)
    return bytes(made.answer(query(text)))


def not_yet_valid(harbour: Harbour, folder: Path, text: bytes) -> bytes:
    made = with_certificate(harbour.trusted, folder, 10, 20, ExtendedKeyUsageOID.TIME_STAMPING)
    return bytes(made.answer(query(text)))


def by_nobody_trusted(harbour: Harbour, folder: Path, text: bytes) -> bytes:
    return harbour.own.answer(query(text))


def an_older_one(harbour: Harbour, folder: Path, text: bytes) -> bytes:
    """Of the seal before it, to renew this one with."""
    return harbour.trusted.answer(query(text.replace(b"block", b"block ")))


def another_policy(harbour: Harbour, folder: Path, text: bytes) -> bytes:
    """The policy that it was given under is another: 1.2.3.4.1 is 1.2.3.4.2."""
    made = harbour.trusted.answer(query(text))
    assert made.count(b"\x06\x04\x2a\x03\x04\x01") == 1
    return made.replace(b"\x06\x04\x2a\x03\x04\x01", b"\x06\x04\x2a\x03\x04\x02")


def another_time(harbour: Harbour, folder: Path, text: bytes) -> bytes:
    """Ten years earlier."""
    made = harbour.trusted.answer(query(text))
    (year,) = set(re.findall(rb"\x18\x0f(20\d\d)\d{10}Z", made))  # of when it was dated (GeneralizedTime)
    return made.replace(b"\x18\x0f" + year, b"\x18\x0f2016")


def refused_by_the_authority(harbour: Harbour, folder: Path, text: bytes) -> bytes:
    return bytes.fromhex("30053003020102")


def half_of_it(harbour: Harbour, folder: Path, text: bytes) -> bytes:
    made = harbour.trusted.answer(query(text))
    return made[: len(made) // 2]


BENT = [
    *(expired, not_yet_valid, by_nobody_trusted, an_older_one, another_policy, another_time),
    *(refused_by_the_authority, half_of_it),
]


def signed_again(files: dict[str, bytes], sealed: Sealed) -> dict[str, bytes]:
    files["files.sha256"] = checksums({name: files[name] for name in LISTED})
    return {**files, "files.sig": sealed.key.sign(files["files.sha256"])}


def put(files: dict[str, bytes], folder: Path) -> Path:
    folder.mkdir()
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder


@pytest.mark.long
def test_the_genuine_stamp_holds(dated: dict[str, bytes], harbour: Harbour, tmp_path: Path, few_tools: str):
    """What is refused below is refused for its stamp."""
    (said,) = verify_files(dated, roots=harbour.trusted.roots.read_bytes()).dated
    folder = put(dict(dated), tmp_path / "r")
    for path in (None, few_tools):
        assert shell_check(folder, said.code, path=path, roots=harbour.trusted.roots).returncode == 0


@pytest.mark.long
@pytest.mark.parametrize("bend", BENT)
@pytest.mark.few(2)
def test_a_bent_stamp_is_refused_by_both(
    dated: dict[str, bytes],
    sealed: Sealed,
    harbour: Harbour,
    tmp_path: Path,
    bend: Callable[[Harbour, Path, bytes], bytes],
):
    """By the certificates that the record names, and by the authority's own. The control: unlooked at."""
    response = bend(harbour, tmp_path / "authority", dated["seal.txt"])
    files = signed_again({**dated, "seal.tsr": response}, sealed)
    for roots in (None, harbour.trusted.roots):
        with pytest.raises(RecordBroken, match="time stamp"):
            verify_files(files, roots=roots and roots.read_bytes())
    folder = put(files, tmp_path / "r")
    code = verify_files(dated).codes[0]
    for roots in (None, harbour.trusted.roots):
        said = shell_check(folder, code, roots=roots)
        assert (said.returncode, "time stamp" in said.stdout) == (5, True), said.stdout
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(verification, "dated_of", lambda *_: ())
        assert verify_files(files)


def of_another_seal(harbour: Harbour) -> dict[str, str]:
    """A true stamp, of a text that is no seal of this record."""
    text = b"curewatch seal 2\nof another logbook\n"
    return {
        "digest": sha256(text).hexdigest(),
        "response": base64.b64encode(harbour.trusted.answer(query(text))).decode(),
        "roots": harbour.trusted.roots.read_text(),
    }


@pytest.mark.long
def test_a_true_stamp_of_another_seal_dates_nothing(
    sealed: Sealed, harbour: Harbour, folder: Path, few_tools
):
    """It may stand there: so do stamps of seals before the record. Whoever asks for a stamp gets none."""
    own = OwnChain(sealed)
    own.add("stamp", of_another_seal(harbour), int(own.blocks[-1][0]), None, iso_utc(LATER))
    files, pages = own.made(), sealed.pages
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(verification, "check_said", lambda *_: pages)
        assert verify_files(files).dated == ()
        with pytest.raises(RecordBroken, match="by the authority that was given"):
            verify_files(files, roots=harbour.trusted.roots.read_bytes())
        code = verify_files(files).codes[0]
    put(files, folder)
    for path in (None, few_tools):
        said = shell_check(folder, path=path)
        assert "dated by nobody else" in said.stdout
        assert "dated: " not in said.stdout
        assert shell_check(folder, code, path=path, roots=harbour.trusted.roots).returncode == 5
    text = (folder / "check.sh").read_text()
    line = next(one for one in text.splitlines() if "it dates nothing of this record" in one)
    (folder.parent / "blind.sh").write_text(
        text.replace(line, "").replace('broken "check.sh of this record', ': "check.sh of this record')
    )
    said = shell_check(folder, code, roots=harbour.trusted.roots, script=folder.parent / "blind.sh")
    assert "dated: a seal that is not here" in said.stdout  # the control


@pytest.mark.long
@pytest.mark.parametrize("more", ["at", "by", "code", "DIGEST"])
@pytest.mark.few(1)
def test_an_entry_says_nothing_beside_its_response(sealed: Sealed, harbour: Harbour, folder: Path, more: str):
    """Neither an earlier date nor another name or code; and its digest has one form."""
    told = of_another_seal(harbour)
    told |= {"digest": told["digest"].upper()} if more == "DIGEST" else {more: "2016-01-01T00:00:00.000Z"}
    own = OwnChain(sealed)
    own.add("stamp", told, int(own.blocks[-1][0]), None, iso_utc(LATER))
    files, pages = own.made(), sealed.pages
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(verification, "check_said", lambda *_: pages)
        with pytest.raises(RecordBroken, match="stamp"):
            verify_files(files)
    assert shell_check(put(files, folder)).returncode == 5


def test_a_certificate_beside_the_one_that_vouches_is_not_named(
    dated: dict[str, bytes], sealed: Sealed, harbour: Harbour, monkeypatch: pytest.MonkeyPatch
):
    """The trusted root first, the owner's own behind it, and his stamp. The control: the first is named."""
    response = harbour.own.answer(query(dated["seal.txt"]))
    both = harbour.trusted.roots.read_bytes() + harbour.own.roots.read_bytes()
    files = signed_again({**dated, "seal.tsr": response, "authority.pem": both}, sealed)
    trusted, own = (
        x509.load_pem_x509_certificate(one.roots.read_bytes()).fingerprint(hashes.SHA256()).hex()
        for one in harbour
    )
    pages = sealed.pages
    monkeypatch.setattr(verification, "check_said", lambda *_: pages)
    assert verify_files(files).dated[0].stamp.root == own
    with pytest.raises(RecordBroken, match="time stamp"):
        verify_files(files, roots=harbour.trusted.roots.read_bytes())
    monkeypatch.setattr(stamping, "_vouching", lambda said, digest, trusted: trusted[0])
    assert verify_files(files).dated[0].stamp.root == trusted


@pytest.mark.long
@pytest.mark.parametrize("ahead", [True, False])
def test_a_seal_that_is_younger_than_its_stamp_is_told(
    sealed: Sealed, harbour: Harbour, tmp_path: Path, ahead: bool
):
    """The shed's clock was ahead of the authority's: program, page and shell say so, and else do not."""
    at = datetime.now(UTC).timestamp() + (400 * DAY if ahead else -DAY)
    opened = at - 6 * DAY
    world.fill(tmp_path / "logbook.sqlite", step=3600.0, opened=opened)
    with serving(harbour.trusted.answer) as address, Logbook(tmp_path / "logbook.sqlite") as logbook:
        authority = Authority(address, harbour.trusted.roots.read_bytes())
        folder = write(logbook, world.JOB, tmp_path / "r", at=at, pdf=False, authority=authority).folder
    assert folder is not None
    assert verify(folder).dated[0].ahead == ahead
    for said in ((folder / "record.html").read_text(), shell_check(folder).stdout):
        assert ("its clock was ahead" in said) == ahead
