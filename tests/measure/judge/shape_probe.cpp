// Reads responses and prints what they are made of: input rows "frequency_hz re im noise_power", a line "end" after each
// response; output a JSON object a line.
#include <fmt/format.h>

#include <cstdio>
#include <iostream>
#include <sstream>
#include <string>

#include "hushtrace/measure/all_pass.hpp"
#include "hushtrace/measure/response_shape.hpp"

namespace {

void tell(const hushtrace::Transfer& transfer) {
    const auto shape = hushtrace::shape_of(transfer);
    std::string parts;
    for (const auto& part : shape ? shape->parts : std::vector<hushtrace::ShapePart>())
        parts += fmt::format(R"({}{{"kind":"{}","hz":{},"hz_sd":{},"gain_db":{},"gain_sd":{},"q":{},"slope":{},"lr":{}}})", parts.empty() ? "" : ",",
                             hushtrace::to_word(part.kind), part.frequency_hz.value, part.frequency_hz.sd, part.gain_db.value,
                             part.gain_db.sd, part.q, part.slope_db_per_octave, part.linkwitz_riley);
    std::string passes;
    const auto fit = hushtrace::find_all_passes(transfer, 0.0);
    if (fit)
        for (const auto& one : fit->all_passes)
            passes += fmt::format(R"({}{{"order":{},"hz":{},"q":{}}})", passes.empty() ? "" : ",", one.order, one.frequency_hz.value, one.q);
    fmt::print("{{\"parts\":[{}],\"left_over_db\":{},\"flat_within_db\":{},\"loudness\":{},\"all_passes\":[{}],\"inverted\":{},"
               "\"delay_ms\":{},\"phase_left_rad\":{}}}\n",
               parts, shape ? shape->left_over_db : -1.0, shape ? shape->flat_within_db : -1.0, shape && shape->loudness, passes,
               fit && fit->inverted, fit ? 1e3 * fit->delay_s.value : 0.0, fit ? fit->left_over_rad : -1.0);
    std::fflush(stdout);
}

}  // namespace

int main() {
    hushtrace::Transfer transfer;
    for (std::string line; std::getline(std::cin, line);) {
        if (line == "end") {
            tell(transfer);
            transfer.clear();
            continue;
        }
        std::istringstream row(line);
        double hz = 0, re = 0, im = 0, noise = 0;
        row >> hz >> re >> im >> noise;
        transfer.push_back({hz, {re, im}, noise, true});
    }
}
