"""The node: measure, print a line, and give the broker what waits. It never stops for a missing network.

Each round: read the chips; print one line a sensor on the serial port, at once; put the same reports into the
backlog; and, while the network is there, publish from the backlog, oldest first, each with its age. A report
leaves the backlog only when the broker has confirmed it.
"""

import time

from backlog import Backlog
from line_form import encode


class Node:
    """`board` is the hardware (board.py); without `publisher` the node speaks on its cable alone."""

    def __init__(self, board, settings, publisher=None):
        self._board = board
        self._settings = settings
        self._publisher = publisher
        self._backlog = Backlog(settings.BACKLOG, [sensor for sensor, _ in board.sensors()])
        self._number = 0
        self._rest = 0  # rounds to leave the broker alone after a failure
        self._failures = 0  # in a row; the rest doubles with each, to at most 16 rounds

    def run(self, rounds=None):
        """For ever, or for so many rounds."""
        while rounds is None or self._number < rounds:
            began = time.ticks_ms()
            self.round()
            while time.ticks_diff(time.ticks_ms(), began) < self._settings.EVERY_S * 1000:
                self._board.feed()
                time.sleep_ms(min(500, self._settings.EVERY_S * 1000))

    def round(self):
        """One round: measure, print, publish."""
        self._board.feed()
        for sensor, values in self._measure():
            line = encode(sensor, age=0, **values)
            if line is not None:
                print(line.decode())
                self._backlog.add(sensor, values)
        self._number += 1
        if self._publisher is not None:
            self._publish()

    def _measure(self):
        """[(sensor, values)] of the chips that answered; one that did not is said in a comment line."""
        found = []
        for sensor, read in self._board.sensors():
            try:
                values = read()
            except OSError as trouble:
                print("# %s: %s" % (sensor, trouble))
                continue
            values["n"] = self._number
            battery = self._board.battery()
            if battery is not None:
                values["b"] = battery
            found.append((sensor, values))
        return found

    def _publish(self):
        if self._rest > 0:
            self._rest -= 1
            return
        if not self._board.network():
            return
        self._board.feed()
        try:
            if not self._publisher.connected():
                self._publisher.connect()
            self._empty()
            self._failures = 0
        except OSError as trouble:
            self._publisher.close()
            self._failures = min(self._failures + 1, 4)
            self._rest = 2**self._failures - 1
            print("# mqtt: %s; %d reports wait" % (trouble, len(self._backlog)))

    def _empty(self):
        for _ in range(self._settings.AT_ONCE):
            waiting = self._backlog.oldest()
            if waiting is None:
                return
            sensor, values, age = waiting
            self._publisher.publish(self._settings.TOPIC % sensor, encode(sensor, age=age, **values))
            self._backlog.done()
            self._board.feed()
