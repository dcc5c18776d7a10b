// The line form, version 1, in C++11 without a heap and without floating-point printf. The form itself is
// described in ../LINE_FORM.md. For any board; nothing here needs a particular one.
#ifndef CUREWATCH_LINE_FORM_HPP
#define CUREWATCH_LINE_FORM_HPP

#include <math.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

namespace curewatch {

const size_t LONGEST_LINE = 160;  // bytes, with the closing zero

// One report. A value that is NAN, or a number below zero where noted, is left out of the line.
struct Report {
    const char *sensor;            // 1 to 64 letters, digits and _ . : / -
    double t = NAN;                // temperature [degC]
    double h = NAN;                // relative humidity over water [%]
    double c = NAN;                // carbon dioxide [ppm]
    double b = NAN;                // battery [%]
    int64_t n = -1;                // running number; -1: none
    int64_t age = -1;              // seconds since it was measured; -1: none
    int64_t at = -1;               // UTC seconds since 1970, if the board knows; -1: none
};

// CRC-16/IBM-3740: polynomial 0x1021, start 0xFFFF; "123456789" gives 0x29B1.
inline uint16_t checksum(const char *text, size_t length) {
    uint16_t crc = 0xFFFF;
    for (size_t i = 0; i < length; ++i) {
        crc ^= static_cast<uint16_t>(static_cast<uint8_t>(text[i])) << 8;
        for (int bit = 0; bit < 8; ++bit) {
            crc = (crc & 0x8000) ? static_cast<uint16_t>((crc << 1) ^ 0x1021) : static_cast<uint16_t>(crc << 1);
        }
    }
    return crc;
}

// Writes text into a buffer and remembers whether it fitted.
class Writer {
  public:
    Writer(char *out, size_t size) : out_(out), size_(size), used_(0), fits_(size > 0) {}

    void text(const char *text) {
        for (; *text; ++text) put(*text);
    }
    void whole(uint64_t value) {
        char digits[20];
        int count = 0;
        do {
            digits[count++] = static_cast<char>('0' + value % 10);
            value /= 10;
        } while (value);
        while (count) put(digits[--count]);
    }
    void hundredths(double value) {  // two digits after the point, rounded to nearest
        int64_t scaled = static_cast<int64_t>(value < 0 ? value * 100 - 0.5 : value * 100 + 0.5);
        if (scaled < 0) {
            put('-');
            scaled = -scaled;
        }
        whole(static_cast<uint64_t>(scaled / 100));
        put('.');
        put(static_cast<char>('0' + scaled / 10 % 10));
        put(static_cast<char>('0' + scaled % 10));
    }
    void hexadecimal(uint16_t value) {
        for (int shift = 12; shift >= 0; shift -= 4) put("0123456789ABCDEF"[(value >> shift) & 0xF]);
    }
    size_t used() const { return used_; }
    bool fits() const { return fits_; }

  private:
    void put(char letter) {
        if (used_ + 1 >= size_) {
            fits_ = false;
            return;
        }
        out_[used_++] = letter;
        out_[used_] = 0;
    }
    char *out_;
    size_t size_;
    size_t used_;
    bool fits_;
};

// Writes the line, without its end, as text that ends in a zero. Returns its length; 0 when there is neither
// temperature nor humidity, or when it does not fit.
inline size_t encode(const Report &report, char *out, size_t size) {
    if ((!isfinite(report.t) && !isfinite(report.h)) || !report.sensor || !report.sensor[0]) return 0;
    Writer line(out, size);
    line.text("cw1 ");
    line.text(report.sensor);
    if (isfinite(report.t)) { line.text(" t="); line.hundredths(report.t); }
    if (isfinite(report.h)) { line.text(" h="); line.hundredths(report.h); }
    if (isfinite(report.c) && report.c >= 0) { line.text(" c="); line.whole(static_cast<uint64_t>(report.c + 0.5)); }
    if (isfinite(report.b) && report.b >= 0) { line.text(" b="); line.whole(static_cast<uint64_t>(report.b + 0.5)); }
    if (report.n >= 0) { line.text(" n="); line.whole(static_cast<uint64_t>(report.n)); }
    if (report.age >= 0) { line.text(" age="); line.whole(static_cast<uint64_t>(report.age)); }
    if (report.at >= 0) { line.text(" at="); line.whole(static_cast<uint64_t>(report.at)); }
    const uint16_t crc = checksum(out, line.used());
    line.text(" *");
    line.hexadecimal(crc);
    return line.fits() ? line.used() : 0;
}

}  // namespace curewatch

#endif
