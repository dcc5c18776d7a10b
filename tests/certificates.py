"""Certificates for tests, made by openssl as a yard would make its own."""

import subprocess
from pathlib import Path

ELLIPTIC = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")  # made in no time
RSA = ("-newkey", "rsa:2048", "-nodes")


def _openssl(*arguments: str) -> None:
    subprocess.run(["openssl", *arguments], check=True, capture_output=True)


def authority(folder: Path, name: str, kind: tuple[str, ...] = ELLIPTIC) -> None:
    """An authority of our own: NAME.pem and its key."""
    _openssl(
        *("req", "-x509", *kind, "-days", "2", "-subj", f"/CN={name} authority"),
        *("-keyout", f"{folder}/{name}.key", "-out", f"{folder}/{name}.pem"),
    )


def certificate(folder: Path, name: str, authority: str) -> None:
    """A certificate for 127.0.0.1, signed by an authority in the same folder."""
    request, extension = folder / f"{name}.csr", folder / f"{name}.ext"
    extension.write_text("subjectAltName = IP:127.0.0.1\n")
    _openssl(
        *("req", *ELLIPTIC, "-subj", f"/CN={name}"),
        *("-keyout", f"{folder}/{name}.key", "-out", str(request)),
    )
    _openssl(
        *("x509", "-req", "-in", str(request), "-days", "2", "-CAcreateserial", "-extfile", str(extension)),
        *("-CA", f"{folder}/{authority}.pem", "-CAkey", f"{folder}/{authority}.key"),
        *("-out", f"{folder}/{name}.pem"),
    )
