"""The chips: a digital humidity chip on I2C, and a one-wire surface probe. Both check what they read."""

import time

READ_PRECISELY = b"\xfd"  # SHT4x class: measure at high precision; ready within 8.3 ms (data sheet)
ADDRESS = 0x44


def crc8(data):
    """The chip's own checksum: polynomial 0x31, start 0xFF; 0xBE 0xEF gives 0x92 (data sheet)."""
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = ((crc << 1) ^ 0x31 if crc & 0x80 else crc << 1) & 0xFF
    return crc


class HumidityChip:
    """Temperature and humidity of the SHT4x class. Humidity is over liquid water, also below 0 degC."""

    def __init__(self, i2c, address=ADDRESS):
        self._i2c = i2c
        self._address = address

    def read(self):
        """(degC, %); raises OSError when the chip does not answer or a byte was lost on the way."""
        self._i2c.writeto(self._address, READ_PRECISELY)
        time.sleep_ms(10)
        data = self._i2c.readfrom(self._address, 6)
        if crc8(data[0:2]) != data[2] or crc8(data[3:5]) != data[5]:
            raise OSError("checksum of the humidity chip")
        t = -45 + 175 * (data[0] << 8 | data[1]) / 65535
        h = -6 + 125 * (data[3] << 8 | data[4]) / 65535
        return t, h  # h as it came, also above 100: the receiver clamps, and says so


class SurfaceProbe:
    """A one-wire thermometer taped to the surface (DS18B20 class)."""

    FAULTS = (85.0, 127.9375)  # what it says after power-on, or when the data line is open

    def __init__(self, pin):
        import ds18x20
        import onewire

        self._bus = ds18x20.DS18X20(onewire.OneWire(pin))
        self._roms = self._bus.scan()

    def read(self):
        """degC; raises OSError when no probe answers."""
        if not self._roms:
            self._roms = self._bus.scan()
        if not self._roms:
            raise OSError("no surface probe")
        self._bus.convert_temp()
        time.sleep_ms(750)  # 12 bits; data sheet
        t = self._bus.read_temp(self._roms[0])
        if t is None or t in self.FAULTS:
            raise OSError("surface probe")
        return t
