#include <fmt/format.h>

#include <map>
#include <string>

#include "hushtrace/diagnose/gain_analysis.hpp"
#include "hushtrace/signal/take_file.hpp"

namespace hushtrace {
namespace {

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

}  // namespace

GainAnalysis analyse_gain(const OpenedJob& job) {
    std::map<std::string, std::string> oddities;  // by take; each take is opened more than once
    GainAnalysis out = analyse_gain(job, [&](const Take& take) {
        return std::make_unique<ToldReader>(take_path(job, take), oddities[take.file]);
    });
    for (const auto& [take, oddity] : oddities)
        if (!oddity.empty()) out.warnings.push_back({"take_cut_short", fmt::format("{}: {}", take, oddity), take});
    return out;
}

}  // namespace hushtrace
