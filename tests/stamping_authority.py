"""An authority of our own that dates digests by RFC 3161, by openssl, and a server for it on 127.0.0.1."""

import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

from curewatch.logbook import stamping
from tests.broker import PATIENCE
from tests.certificates import ELLIPTIC, authority
from tests.record_attacks import need

_CONFIGURATION = """
[tsa]
default_tsa = here
[here]
serial = {folder}/serial
crypto_device = builtin
signer_cert = {folder}/{name}.pem
certs = {folder}/{name}.pem
signer_key = {folder}/{name}.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
accuracy = secs:1
ordering = yes
tsa_name = yes
ess_cert_id_chain = no
ess_cert_id_alg = sha256
"""


class StampingAuthority:
    """ROOT.pem, a certificate for dating under it, and answers to queries."""

    def __init__(
        self, folder: Path, name: str = "harbour", days: str = "3650", kind: tuple[str, ...] = ELLIPTIC
    ) -> None:
        need("openssl")
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self.name = folder, name
        authority(folder, f"{name}-root", kind)
        self.roots = folder / f"{name}-root.pem"
        (folder / "stamp.ext").write_text(
            "extendedKeyUsage = critical, timeStamping\nkeyUsage = critical, digitalSignature\n"
        )
        request = folder / f"{name}.csr"
        _openssl(
            *("req", *kind, "-subj", f"/CN={name} stamps"),
            *("-keyout", f"{folder}/{name}.key", "-out", str(request)),
        )
        _openssl(
            *("x509", "-req", "-in", str(request), "-CAcreateserial", "-extfile", str(folder / "stamp.ext")),
            *("-CA", str(self.roots), "-CAkey", f"{folder}/{name}-root.key", "-days", days),
            *("-out", f"{folder}/{name}.pem"),
        )
        (folder / "serial").write_text("01\n")
        (folder / "ts.cnf").write_text(_CONFIGURATION.format(folder=folder, name=name))

    def answer(self, query: bytes) -> bytes:
        """The response to one query."""
        (self.folder / "query").write_bytes(query)
        _openssl(
            *(
                "ts",
                "-reply",
                "-config",
                str(self.folder / "ts.cnf"),
                "-queryfile",
                str(self.folder / "query"),
            ),
            *("-out", str(self.folder / "answer")),
        )
        return (self.folder / "answer").read_bytes()


def _openssl(*arguments: str) -> None:
    subprocess.run(["openssl", *arguments], check=True, capture_output=True)


@contextmanager
def serving(answer) -> Iterator[str]:
    """The address of a server that answers every POST so, and is waited for where the machine is busy."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            said = answer(self.rfile.read(int(self.headers["Content-Length"])))
            self.send_response(200)
            self.send_header("Content-Type", "application/timestamp-reply")
            self.end_headers()
            self.wfile.write(said)

        def log_message(self, *_: object) -> None: ...

    server = HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        with pytest.MonkeyPatch.context() as patience:
            patience.setattr(stamping, "PATIENCE", PATIENCE)
            yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        server.server_close()
