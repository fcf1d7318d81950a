// Reads raw 64-bit stereo frames from standard input and says what the music detector finds: one line, JSON.
//   programme_clipping RATE < samples
#include <fmt/format.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <vector>

#include "hushtrace/measure/clipping.hpp"

int main(int count, char** words) {
    const double rate = count > 1 ? std::atof(words[1]) : 48000;
    std::array<hushtrace::ProgrammeClippingFinder, 2> finders = {hushtrace::ProgrammeClippingFinder(rate),
                                                                 hushtrace::ProgrammeClippingFinder(rate)};
    std::vector<double> buffer(8192), one(4096);
    while (const std::size_t got = std::fread(buffer.data(), sizeof(double), buffer.size(), stdin)) {
        for (std::size_t c = 0; c < 2; ++c) {
            one.resize(got / 2);
            for (std::size_t n = 0; n < one.size(); ++n) one[n] = buffer[2 * n + c];
            finders[c].add(one);
        }
    }
    std::string line;
    for (auto& finder : finders) {
        const auto r = finder.result();
        line += fmt::format("{}{{\"clips\": {}, \"sides\": \"{}\", \"evidence\": {:.3f}, \"level\": {}, "
                            "\"sd\": {:.4f}, \"share\": {:.7f}, \"cut\": {}, \"seen\": {}}}",
                            line.empty() ? "[" : ", ", r.clips, hushtrace::to_word(r.sides), r.evidence,
                            r.clip_level_dbfs ? fmt::format("{:.4f}", r.clip_level_dbfs->value) : "null",
                            r.clip_level_dbfs ? r.clip_level_dbfs->sd : 0.0, r.clipped_share, r.peaks_cut,
                            r.peaks_seen);
    }
    std::puts((line + "]").c_str());
}
