// Reads the fields of line_vectors.csv from standard input and prints the line of each: for the test that
// compares this encoder with the others. Build: g++ -std=c++11 -Wall -Wextra -Werror encode_vectors.cpp
#include <cstdio>
#include <cstdlib>
#include <iostream>
#include <sstream>
#include <string>
#include <vector>

#include "line_form.hpp"

int main() {
    std::string row;
    while (std::getline(std::cin, row)) {
        std::vector<std::string> cells;
        std::stringstream parts(row);
        for (std::string cell; std::getline(parts, cell, ',');) cells.push_back(cell);
        cells.resize(8);
        curewatch::Report report;
        report.sensor = cells[0].c_str();
        double *numbers[] = {&report.t, &report.h, &report.c, &report.b};
        for (int i = 0; i < 4; ++i)
            if (!cells[1 + i].empty()) *numbers[i] = std::strtod(cells[1 + i].c_str(), nullptr);
        int64_t *wholes[] = {&report.n, &report.age, &report.at};
        for (int i = 0; i < 3; ++i)
            if (!cells[5 + i].empty()) *wholes[i] = std::strtoll(cells[5 + i].c_str(), nullptr, 10);
        char line[curewatch::LONGEST_LINE];
        std::puts(curewatch::encode(report, line, sizeof line) ? line : "");
    }
}
