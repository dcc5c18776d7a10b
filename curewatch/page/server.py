"""The server: a few connections at a time, each in a thread of its own, from `start` to `stop`."""

import errno
import socket
import ssl
import threading
import time
from collections import Counter
from collections.abc import Callable
from http.server import HTTPServer
from typing import Any

from curewatch.configuration.shape import PhonePageTable
from curewatch.errors import CurewatchError, UsageError, reason
from curewatch.page import heap, rules
from curewatch.page.handler import Handler
from curewatch.page.plan import PagePlan
from curewatch.page.process import PageProcess
from curewatch.page.tokens import TokenKeeper

MOST, MOST_OF_ONE = 24, 8  # connections at a time: of all, and of one address
TURN = 0.5  # s between two looks at what ends or is idle
TRIM = 20.0  # s between two times that free memory is given back
SILENT = 30.0  # s after which a daemon that did not say so is taken as stuck


class PageServer(HTTPServer):
    """Listens for phones; made, then started."""

    daemon_threads = True
    request_queue_size = 32

    def __init__(self, plan: PagePlan, complain: Callable[[str], None]) -> None:
        page = plan.table
        self.context = _context(page)
        self.complain = complain
        self.tokens = TokenKeeper(plan.tokens)
        self.process = PageProcess(plan.sheds, plan.answers)
        self.sheds = frozenset(plan.sheds)  # their names; of one alone it is empty
        self._names = rules.names_of(socket.gethostname(), page.names)
        self._beat = time.monotonic()
        self._trimmed = time.monotonic()
        self._open: Counter[str] = Counter()  # connections by the address they come from
        self._counting = threading.Lock()
        self._thread = threading.Thread(target=self.serve_forever, args=(TURN,), name="page", daemon=True)
        if ":" in page.address:
            self.address_family = socket.AF_INET6
        try:
            super().__init__((page.address, page.port), Handler)
        except OSError as trouble:
            key = "port" if trouble.errno == errno.EADDRINUSE else "address"
            text = f"{page.address} port {page.port}: {reason(trouble)}. Use another [page] {key}"
            raise UsageError(text) from trouble

    def server_bind(self) -> None:
        """As every server, without asking a name service what the machine is called."""
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.socket.bind(self.server_address)
        self.server_address = self.socket.getsockname()
        self.server_name, self.server_port = str(self.server_address[0]), int(self.server_address[1])

    def served(self, address: str) -> rules.Served:
        """What this server is called for a connection that came in by this address."""
        return rules.Served(address, self.server_port, self._names, self.context is not None)

    # ---- the daemon's side

    def start(self) -> None:
        heap.share_one_arena()
        self._thread.start()

    def beat(self) -> None:
        """The daemon's loop goes round; called from it."""
        self._beat = time.monotonic()

    def alive(self) -> bool:
        return time.monotonic() - self._beat < SILENT

    def stop(self) -> None:
        """Listen no more; what is open ends with its own limits."""
        if self._thread.is_alive():
            self.shutdown()
            self._thread.join(10.0)
        self.server_close()
        self.process.stop()

    # ---- the library's hooks

    def service_actions(self) -> None:
        self.process.tend()
        if time.monotonic() - self._trimmed >= TRIM:
            self._trimmed = time.monotonic()
            heap.give_back()

    def process_request(self, request: Any, client_address: Any) -> None:
        """In a thread, if there are few enough; else the connection is closed at once."""
        who = client_address[0]
        with self._counting:
            if self._open.total() >= MOST or self._open[who] >= MOST_OF_ONE:
                self.shutdown_request(request)
                return
            self._open[who] += 1
        serving = threading.Thread(
            target=self._one, args=(request, client_address), name="phone", daemon=True
        )
        try:
            serving.start()
        except RuntimeError:  # the system gives no further thread
            self._closed(request, who)

    def _one(self, request: Any, client_address: Any) -> None:
        try:
            self.finish_request(request, client_address)
        except (OSError, ValueError, EOFError):
            pass  # it went, was too slow, or spoke something else
        except CurewatchError as trouble:
            self.complain(str(trouble))
        finally:
            self._closed(request, client_address[0])

    def _closed(self, request: Any, who: str) -> None:
        with self._counting:
            self._open[who] -= 1
            self._open += Counter()  # what is nought goes
        self.shutdown_request(request)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Nothing: the library prints what came, and that may hold a token."""


def _context(page: PhonePageTable) -> ssl.SSLContext | None:
    """TLS with the user's certificate; none without one."""
    if page.certificate_file is None or page.key_file is None:
        return None
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(page.certificate_file, page.key_file, password=lambda: b"")
    except (OSError, ssl.SSLError) as trouble:
        why = (trouble.reason or "no PEM") if isinstance(trouble, ssl.SSLError) else reason(trouble)
        raise UsageError(  # by their names alone: a line of the journal has room for what to do, too
            f"{page.certificate_file.name} and {page.key_file.name}: {why.lower().replace('_', ' ')}. "
            "Use a certificate and its key, PEM, without a password"
        ) from trouble
    return context
