"""A wire to a database that breaks where a test says: before a message of the client, or its answer."""

import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from tests.broker import PATIENCE


class BreakingWire:
    """Between a client and a server on sockets of files. ``arm`` says at which message it breaks."""

    def __init__(self, folder: Path, server: Path) -> None:
        folder.mkdir()
        self.folder = folder
        self._server = str(server / ".s.PGSQL.5432")
        self._listener = socket.socket(socket.AF_UNIX)
        self._listener.bind(str(folder / ".s.PGSQL.5432"))
        self._listener.listen()
        self._left = -1  # messages until it breaks; below 0: never
        self._how, self._has = "", b""
        self._do: Callable[[], object] | None = None
        self.broke: list[bytes] = []  # the messages at which it did
        self.down = False
        threading.Thread(target=self._accept, daemon=True).start()

    def arm(self, after: int, how: str, do: Callable[[], object] | None = None, has: bytes = b"") -> None:
        """Break at this message from now on, or the next that has these bytes.

        ``how``: "before" the server has it, "behind" it, or "do", which does something and lets it go on.
        """
        self._left, self._how, self._do, self._has = after, how, do, has
        self.broke.clear()

    def close(self) -> None:
        self._listener.close()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                client, _ = self._listener.accept()
                if self.down:
                    client.close()
                    continue
                far = socket.socket(socket.AF_UNIX)
                try:
                    far.connect(self._server)
                except OSError:
                    client.close()
                    far.close()
                    continue
                threading.Thread(target=self._to_server, args=(client, far), daemon=True).start()

    def _to_server(self, client: socket.socket, far: socket.socket) -> None:
        quiet = threading.Event()  # answers are dropped
        back = threading.Thread(target=self._to_client, args=(client, far, quiet), daemon=True)
        back.start()
        with suppress(OSError):
            while message := client.recv(1 << 16):
                if self._left == 0 and self._has in message:
                    self._left = -1
                    self.broke.append(message)
                    if self._do is not None:
                        self._do()
                    if self._how == "before":
                        break
                    if self._how == "behind":
                        quiet.set()
                        far.sendall(message)
                        far.shutdown(socket.SHUT_WR)  # the server ends what it began, then leaves
                        back.join(PATIENCE)
                        break
                elif self._left > 0:
                    self._left -= 1
                far.sendall(message)
        for one in (client, far):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()

    @staticmethod
    def _to_client(client: socket.socket, far: socket.socket, quiet: threading.Event) -> None:
        with suppress(OSError):
            while answer := far.recv(1 << 16):
                if not quiet.is_set():
                    client.sendall(answer)
        with suppress(OSError):  # also where the server reset it
            if not quiet.is_set():
                client.shutdown(socket.SHUT_RDWR)
