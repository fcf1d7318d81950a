#pragma once
#include <fmt/format.h>

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "hushtrace/job/job.hpp"
#include "hushtrace/signal/take_file.hpp"

namespace hushtrace {

/// A take file that leaves word of what was odd about it (cut short, say) once it has been read to its end.
class ToldReader final : public BlockReader {
public:
    ToldReader(const std::filesystem::path& file, std::string& oddity) : reader_(file), oddity_(oddity) {}
    double sample_rate_hz() const override { return reader_.sample_rate_hz(); }
    std::size_t channels() const override { return reader_.channels(); }
    std::size_t read(Block& into, std::size_t most) override {
        const std::size_t got = reader_.read(into, most);
        if (got == 0) oddity_ = reader_.oddity();
        return got;
    }

private:
    TakeReader reader_;
    std::string& oddity_;
};

using Oddities = std::map<std::string, std::string>;  ///< by take; each take is opened more than once

inline void warn_of_oddities(const Oddities& oddities, std::vector<Warning>& warnings) {
    for (const auto& [take, oddity] : oddities)
        if (!oddity.empty()) warnings.push_back({"take_cut_short", fmt::format("{}: {}", take, oddity), take});
}

}  // namespace hushtrace
