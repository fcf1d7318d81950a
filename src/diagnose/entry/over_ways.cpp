#include "over_ways.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "hushtrace/vehicle/entry_tables.hpp"

namespace hushtrace {
namespace {

double power(double db) {
    return std::pow(10.0, db / 10.0);
}

struct Part {
    double weight;
    Reading change;
};

std::vector<Part> parts_of(const EntryPosterior& posterior, const WayChange& change) {
    std::vector<Part> parts;
    std::array<Reading, kEntryWays> by_way;
    for (std::size_t w = 0; w < kEntryWays; ++w) {
        by_way[w] = change(static_cast<EntryWay>(w));
        by_way[w].value = std::max(kDeepestFall_db, by_way[w].value);
    }
    const auto of = [&by_way](EntryWay way) { return by_way[static_cast<std::size_t>(way)]; };
    for (std::size_t s = 0; s < posterior.sets.size(); ++s)
        for (std::size_t x = 0; x < posterior.by_share[s].size(); ++x) {
            const EntrySet& set = posterior.sets[s];
            Part part{posterior.by_share[s][x], of(set.first)};
            if (set.second) {
                const Reading other = of(*set.second);
                const double share = first_share(x), pa = share * power(part.change.value), pb = (1.0 - share) * power(other.value);
                part.change = {10.0 * std::log10(pa + pb), std::hypot(pa * part.change.sd, pb * other.sd) / (pa + pb)};
            }
            parts.push_back(part);
        }
    return parts;
}

double squares_about(const std::vector<Part>& parts, double middle) {
    double sum = 0, all = 0;
    for (const Part& part : parts) {
        const double apart = part.change.value - middle;
        sum += part.weight * (apart * apart + part.change.sd * part.change.sd);
        all += part.weight;
    }
    return sum / all;
}

}  // namespace

Reading middle_change(const EntryPosterior& posterior, const WayChange& change) {
    std::vector<Part> parts = parts_of(posterior, change);
    std::stable_sort(parts.begin(), parts.end(), [](const Part& a, const Part& b) { return a.change.value < b.change.value; });
    double all = 0, sum = 0;
    for (const Part& part : parts) all += part.weight;
    const auto middle = std::find_if(parts.begin(), parts.end(), [&](const Part& part) { return (sum += part.weight) >= 0.5 * all; });
    const auto quantile = [&](double share) {
        double low = -200.0, high = 100.0;
        for (int step = 0; step < 40; ++step) {
            const double at = 0.5 * (low + high);
            double below = 0;
            for (const Part& part : parts)
                below += part.weight * 0.5 * std::erfc((part.change.value - at) / (std::numbers::sqrt2 * std::max(0.1, part.change.sd)));
            (below < share * all ? low : high) = at;
        }
        return 0.5 * (low + high);
    };
    return {(middle == parts.end() ? parts.back() : *middle).change.value, 0.5 * (quantile(0.8413) - quantile(0.1587))};
}

Reading power_change(const EntryPosterior& posterior, const WayChange& change) {
    const std::vector<Part> parts = parts_of(posterior, change);
    double sum = 0, all = 0;
    for (const Part& part : parts) {
        sum += part.weight * power(part.change.value);
        all += part.weight;
    }
    Reading out{10.0 * std::log10(sum / all), 0.0};
    out.sd = std::sqrt(squares_about(parts, out.value));
    return out;
}

double chance_of(const EntryPosterior& posterior, EntryWay way) {
    double sum = 0;
    for (const EntrySet& set : posterior.sets)
        if (set.has(way)) sum += set.probability;
    return sum;
}

}  // namespace hushtrace
