"""One question to a weather service over HTTP. It runs in a child of its own and nowhere else.

What may take long, be large or lead elsewhere is bounded: 10 s in all, 1 MB, and no other host. Nothing is
unpacked, so that a small answer cannot become a large one.
"""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING
from urllib.parse import urljoin, urlsplit

from curewatch.daemon.fetching import ServiceAnswer

if TYPE_CHECKING:
    import urllib3

PATIENCE = 10.0  # s for the whole question
LARGEST = 1_000_000  # bytes
MOST_REDIRECTS = 3
REDIRECTS = {301, 302, 303, 307, 308}


class _TooSlow(Exception):  # noqa: N818 - it never leaves this module
    """The time is over."""


def get(url: str, agent: str, since: str = "", patience: float = PATIENCE) -> ServiceAnswer:
    """What the service answers; trouble is in the answer, never raised. On the main thread only.

    ``agent`` says who asks; ``since`` is the stamp of the last answer.
    """
    import urllib3

    headers = {"User-Agent": agent, "Accept": "application/json", "Accept-Encoding": "identity"}
    if since:
        headers["If-Modified-Since"] = since
    try:
        with _at_most(patience), urllib3.PoolManager(num_pools=1, headers=headers) as pool:
            return _followed(pool, url)
    except _TooSlow:
        return ServiceAnswer(trouble=f"it took longer than {patience:g} s")
    except (urllib3.exceptions.HTTPError, ValueError) as trouble:
        return ServiceAnswer(trouble=_plain(trouble))


def _followed(pool: "urllib3.PoolManager", url: str) -> ServiceAnswer:
    for _ in range(MOST_REDIRECTS):
        answer = _asked(pool, url)
        target = urljoin(url, answer.headers.get("location", ""))
        if answer.status not in REDIRECTS or target == url:
            return answer
        if _host(target) != _host(url):
            elsewhere = urlsplit(target).hostname or "nowhere"
            return answer._replace(trouble=f"it sends elsewhere ({elsewhere[:80]}), which is not followed")
        url = target
    return ServiceAnswer(302, trouble=f"it sends on more than {MOST_REDIRECTS} times")


def _asked(pool: "urllib3.PoolManager", url: str) -> ServiceAnswer:
    answer = pool.request("GET", url, preload_content=False, redirect=False, retries=False, timeout=PATIENCE)
    try:
        headers = {name.lower(): value for name, value in answer.headers.items()}
        if headers.get("content-encoding", "identity") != "identity":
            return ServiceAnswer(trouble="it answers packed, though asked not to")
        body = answer.read(LARGEST + 1, decode_content=False) if answer.status in {200, 203} else b""
    finally:
        answer.close()
    if len(body) > LARGEST:
        return ServiceAnswer(trouble=f"its answer is larger than {LARGEST / 1e6:g} MB")
    if "content-length" in headers and body and headers["content-length"] != str(len(body)):
        return ServiceAnswer(trouble="its answer was cut off")
    return ServiceAnswer(answer.status, headers, body)


def _host(url: str) -> tuple[str, str | None, int | None]:
    parts = urlsplit(url)
    return parts.scheme, parts.hostname, parts.port


@contextmanager
def _at_most(seconds: float) -> Iterator[None]:
    """Time for everything within: names, connection, one byte a second."""

    def ring(*_: object) -> None:
        raise _TooSlow

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def _plain(trouble: Exception) -> str:
    """In a few words; a library's own text may carry addresses of memory."""
    import urllib3

    for kind, words in (
        (urllib3.exceptions.SSLError, "its certificate does not hold, or TLS failed"),
        (urllib3.exceptions.NameResolutionError, "its name is not known; is there a network?"),
        (urllib3.exceptions.NewConnectionError, "it cannot be reached"),
        (urllib3.exceptions.TimeoutError, "it does not answer"),
        (urllib3.exceptions.ProtocolError, "its answer was cut off"),
    ):
        if isinstance(trouble, kind):
            return words
    return f"it cannot be asked ({type(trouble).__name__})"
