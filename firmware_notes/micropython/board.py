"""The hardware: pins, chips, Wi-Fi, watchdog. The only file that needs a real board."""

import machine
from chips import HumidityChip, SurfaceProbe


class Board:
    """Everything the node asks of the hardware."""

    def __init__(self, settings):
        self._settings = settings
        self._watchdog = machine.WDT(timeout=settings.WATCHDOG_MS)
        self._sensors = []
        if settings.AIR:
            i2c = machine.I2C(0, sda=machine.Pin(settings.SDA), scl=machine.Pin(settings.SCL), freq=100000)
            self._sensors.append((settings.AIR, _air(HumidityChip(i2c))))
        if settings.SURFACE:
            self._sensors.append((settings.SURFACE, _surface(SurfaceProbe(machine.Pin(settings.PROBE)))))
        self._battery = machine.ADC(machine.Pin(settings.BATTERY)) if settings.BATTERY is not None else None
        self._wlan = None
        if settings.WIFI:
            import network

            self._wlan = network.WLAN(network.STA_IF)
            self._wlan.active(True)

    def feed(self):
        """Tell the watchdog that all is well."""
        self._watchdog.feed()

    def sensors(self):
        """[(name, function that reads a dict of values)]."""
        return self._sensors

    def battery(self):
        """Rough state of charge of one lithium cell [%], or None: 3.3 V is empty, 4.15 V is full."""
        if self._battery is None:
            return None
        volts = 2 * 3.3 * self._battery.read_u16() / 65535
        return int(max(0, min(100, 100 * (volts - 3.3) / 0.85)))

    def network(self):
        """Is the Wi-Fi there? If not, ask for it again and do not wait: the next round will see."""
        if self._wlan is None:
            return False
        if self._wlan.isconnected():
            return True
        try:
            self._wlan.connect(*self._settings.WIFI)
        except OSError as trouble:
            print("# wifi:", trouble)
        return False


def _air(chip):
    def read():
        t, h = chip.read()
        return {"t": t, "h": h}

    return read


def _surface(probe):
    def read():
        return {"t": probe.read()}

    return read
