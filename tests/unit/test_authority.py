"""An authority that a yard made itself is trusted, and no other."""

import ssl
from pathlib import Path

from curewatch.daemon.edges.authority import trusting
from tests.certificates import authority


def test_an_authority_without_key_usage_is_taken_and_everything_else_is_asked(tmp_path: Path) -> None:
    """Signature and name are still required; only the extension that openssl leaves out is not."""
    authority(tmp_path, "yard")
    context = trusting(str(tmp_path / "yard.pem"))
    assert context.verify_mode is ssl.CERT_REQUIRED
    assert context.check_hostname
    assert not context.verify_flags & ssl.VERIFY_X509_STRICT
    assert len(context.get_ca_certs()) == 1
