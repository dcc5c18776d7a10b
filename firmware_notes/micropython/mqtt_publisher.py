"""As much of MQTT 3.1.1 as a sensor needs: connect, publish at quality of service 1, wait for the answer.

Every wait has a limit: connecting waits at most twice `patience`, which stays below the watchdog's time.
"""

import socket
import struct

CONNECT, CONNACK, PUBLISH, PUBACK, DISCONNECT = 0x10, 0x20, 0x32, 0x40, 0xE0


def _text(value):
    value = value if isinstance(value, bytes) else value.encode()
    return struct.pack("!H", len(value)) + value


def _packet(kind, body):
    length, size = len(body), b""
    while True:
        digit, length = length & 0x7F, length >> 7
        size += bytes([digit | 0x80 if length else digit])
        if not length:
            return bytes([kind]) + size + body


class Publisher:
    """One connection to one broker. All methods raise OSError when the broker is not there."""

    def __init__(self, host, port, name, user=None, password=None, patience=3):
        self._place = (host, port)
        self._name = name
        self._user = user
        self._password = password
        self._patience = patience  # s
        self._socket = None
        self._number = 0

    def connected(self):
        return self._socket is not None

    def connect(self):
        """Open the connection and log in."""
        self.close()
        link = socket.socket()
        try:
            link.settimeout(self._patience)
            link.connect(socket.getaddrinfo(*self._place)[0][-1])
            flags, who = 0x02, _text(self._name)  # a clean session: a sensor subscribes to nothing
            if self._user is not None:
                flags, who = flags | 0x80, who + _text(self._user)
            if self._password is not None:
                flags, who = flags | 0x40, who + _text(self._password)
            self._socket = link
            self._send(CONNECT, _text("MQTT") + bytes([4, flags]) + struct.pack("!H", 0) + who)
            answer = self._read(4)
            if answer[0] != CONNACK or answer[3] != 0:
                raise OSError("the broker refused: %d" % answer[3])
        except OSError:
            link.close()
            self._socket = None
            raise

    def publish(self, topic, payload):
        """Return when the broker has taken it."""
        if self._socket is None:
            raise OSError("not connected")
        self._number = self._number % 65535 + 1
        number = struct.pack("!H", self._number)
        try:
            self._send(PUBLISH, _text(topic) + number + payload)
            answer = self._read(4)
            if answer[0] != PUBACK or answer[2:4] != number:
                raise OSError("not the broker's word for it")
        except OSError:
            self.close()
            raise

    def close(self):
        """Say goodbye, if there is anybody."""
        link, self._socket = self._socket, None
        if link is None:
            return
        try:
            link.send(_packet(DISCONNECT, b""))
        except OSError as gone:
            print("# mqtt:", gone)
        link.close()

    def _send(self, kind, body):
        data = _packet(kind, body)
        while data:
            data = data[self._socket.send(data) :]

    def _read(self, count):
        data = b""
        while len(data) < count:
            more = self._socket.recv(count - len(data))
            if not more:
                raise OSError("the broker closed")
            data += more
        return data
