#include "report/entry_sample.hpp"

#include <cmath>

#include "hushtrace/vehicle/entry_tables.hpp"

namespace sample {

using namespace hushtrace;

std::vector<TestMade> tests_made(const std::string& source_id, std::size_t count) {
    std::vector<TestMade> out;
    for (std::size_t t = 0; t < count; ++t) {
        TestMade test;
        test.source_id = source_id;
        test.name = "a test with a name";
        test.outcome.text =
            "With the source end of the lead in a shorted dummy plug that touches nothing it is not found any more: 25 dB down at least.";
        test.outcome.value = -25.0 + static_cast<double>(t);
        test.outcome.unit = "dB";
        test.outcome.takes = {"takes/before.flac", "takes/after.flac"};
        const auto share = [](std::size_t made, std::size_t way) {
            if (way == 0) return 0.1 + 0.06 * static_cast<double>(made);
            return kEntryWays - way <= made ? 0.004 : 0.08;  // the last way leaves first
        };
        for (std::size_t w = 0; w < kEntryWays; ++w) {
            const double before = share(t, w), after = share(t + 1, w);
            if (before < 0.02 && after < 0.02) continue;
            const std::string name(plain_name(static_cast<EntryWay>(w)));
            test.ways.push_back({name, before, after});
            if (after < 0.02) test.ruled_out.push_back(name);
        }
        out.push_back(std::move(test));
    }
    return out;
}

SupplyTransfer transfer(Channel against, double slope_db_per_decade) {
    SupplyTransfer out;
    out.source_id = "whine-1";
    out.take = "takes/idle.flac";
    out.against = against;
    for (double hz = 400.0; hz <= 6500.0; hz *= 2.0)
        out.points.push_back({hz, {-60.0 + slope_db_per_decade * std::log10(hz / 1000.0), 1.5, LimitedBy::nothing}, hz > 6000.0 ? 0.3 : 0.95});
    out.slope_db_per_decade = Reading{slope_db_per_decade, 2.0, LimitedBy::nothing};
    return out;
}

TakePicture comb(const std::string& take, const std::vector<double>& levels_dbfs) {
    TakePicture out;
    out.take = take;
    out.bin_hz = 2.0;
    for (std::size_t k = 0; k <= 12000; ++k) out.line_dbfs.push_back(-120.0F + static_cast<float>(k % 5));
    for (std::size_t n = 0; n < levels_dbfs.size(); ++n) out.line_dbfs[200 * (n + 1)] = static_cast<float>(levels_dbfs[n]);
    return out;
}

}  // namespace sample
