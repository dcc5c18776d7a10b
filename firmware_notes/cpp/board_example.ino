// A whole board: humidity chip on I2C, one line a minute on the serial port. Board support packages with Wire.
// Wiring: chip VDD to 3.3 V, GND to GND, SDA and SCL to the board's own; nothing else.
#include <Wire.h>

#include "line_form.hpp"

const uint8_t CHIP = 0x44;              // humidity chip of the SHT4x class
const unsigned long EVERY_MS = 60000UL;

static uint8_t crc8(const uint8_t *data) {  // the chip's own checksum over two bytes: BE EF gives 92
    uint8_t crc = 0xFF;
    for (int i = 0; i < 2; ++i) {
        crc ^= data[i];
        for (int bit = 0; bit < 8; ++bit) crc = (crc & 0x80) ? (crc << 1) ^ 0x31 : crc << 1;
    }
    return crc;
}

static bool measure(double &t, double &h) {
    Wire.beginTransmission(CHIP);
    Wire.write(0xFD);                   // high precision
    if (Wire.endTransmission() != 0) return false;
    delay(10);
    uint8_t data[6];
    if (Wire.requestFrom(CHIP, static_cast<uint8_t>(6)) != 6) return false;
    for (int i = 0; i < 6; ++i) data[i] = Wire.read();
    if (crc8(data) != data[2] || crc8(data + 3) != data[5]) return false;
    t = -45.0 + 175.0 * (data[0] * 256.0 + data[1]) / 65535.0;
    h = -6.0 + 125.0 * (data[3] * 256.0 + data[4]) / 65535.0;
    return true;
}

void setup() {
    Serial.begin(115200);
    Wire.begin();
}

void loop() {
    static int64_t number = 0;
    static unsigned long last = millis() - EVERY_MS;
    if (millis() - last < EVERY_MS) return;   // right across the wrap of millis()
    last += EVERY_MS;
    curewatch::Report report;
    report.sensor = "bench";
    report.n = number++;
    report.age = 0;
    char line[curewatch::LONGEST_LINE];
    if (measure(report.t, report.h) && curewatch::encode(report, line, sizeof line)) {
        Serial.println(line);
    } else {
        Serial.println("# bench: the chip does not answer");
    }
}
