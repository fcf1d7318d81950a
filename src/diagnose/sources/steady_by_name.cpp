#include "steady_by_name.hpp"

#include <algorithm>
#include <cmath>

namespace hushtrace {
namespace {

constexpr double kFinerExplains = 4.6;   // surprise: a hundred times as likely by chance

/// A burst of an eighth of its frame has its first lobe in multiples 1 to 7: some of them are there whatever couples it.
/// And a phone sends for a second and more.
bool looks_like_frames(const CombStretch& phone) {
    const auto lies_low = [](const CombTooth& tooth) { return tooth.number < 8 && tooth.surprise > 5.0; };
    const auto low = std::count_if(phone.comb.teeth.begin(), phone.comb.teeth.end(), lies_low);
    const bool odd = std::any_of(phone.comb.teeth.begin(), phone.comb.teeth.end(),
                                 [&](const CombTooth& tooth) { return lies_low(tooth) && tooth.number % 2 == 1; });   // else of twice the rate
    return low >= 2 && odd && phone.to_s - phone.from_s > 0.9;
}

/// Whether a comb's lines are but some of those of a slower rate, which explains many more.
bool part_of_finer_comb(const SteadySearch& search, const LineComb& comb) {
    const CombTooth* top = comb.strongest();
    CombPlaces places = search.places;
    places.most_number = 160;   // a load of a hundred hertz, up to where buses are looked for
    const LineComb finer = comb_through(search.spectra, top->frequency_hz, top->frequency_sd_hz, PulseWidth::least_hz, places);
    if (finer.teeth.size() < 2) return false;
    const double parts = std::round(comb.spacing_hz / finer.spacing_hz);
    return parts >= 2.0 && std::abs(comb.spacing_hz - parts * finer.spacing_hz) < 2.0 + parts * finer.spacing_sd_hz &&
           finer.surprise_of_rest > comb.surprise_of_rest + kFinerExplains;
}

LineComb comb_of_bus(const SteadySearch& search, const BusFrames& bus) {
    CombPlaces places = search.places;
    places.most_number = 25;
    LineComb comb = find_comb(search.spectra, bus.rate_hz, BusFrames::tolerance, places);
    if (comb.surprise < kNamedComb || comb.teeth.empty() || part_of_finer_comb(search, comb)) return {};
    const bool several = comb.teeth.size() > 1 && comb.surprise_of_rest > kRestOfNamed;
    constexpr int widest_step = 5;   // lines at every seventh place alone are some other comb's that meets this one
    if (several && comb.solid_divisor() > widest_step) return {};
    // one line alone: only where it is the frames' own
    if (!several && (comb.strongest()->number != 1 || comb.strongest()->surprise < 16.0 || strays(search, *comb.strongest()))) return {};
    return comb;
}

}  // namespace

void look_for_mains(const SteadySearch& search, const Job& job, Taken& taken, std::vector<SteadyComb>& found) {
    std::vector<double> nominals(Mains::nominal_hz.begin(), Mains::nominal_hz.end());
    if (job.vehicle.mains_hz) nominals = {*job.vehicle.mains_hz};
    LineComb best;
    double best_nominal = 0;
    CombPlaces places = search.places;
    places.most_number = Mains::most_number;
    for (const double nominal : nominals) {
        LineComb comb = find_comb(search.spectra, nominal, Mains::tolerance, places);
        if (comb.surprise <= best.surprise) continue;
        best = std::move(comb);
        best_nominal = nominal;
    }
    if (best.surprise < kNamedComb || best.teeth.empty()) return;
    const int divisor = std::max(best.common_divisor(), best.solid_divisor());
    const bool low = best.teeth.front().number <= 3, exact = std::abs(best.spacing_hz / best_nominal - 1.0) < Mains::usual_stray;
    const bool comb = best.surprise_of_rest > kRestOfNamed && best.teeth.size() > 1;
    // hum is strongest low down; where it is not so exact, or a rectifier's alone, lower still: else it is a motor's bars and turns
    const int highest_lead = exact && divisor == 1 ? 12 : 8;
    if (best.strongest()->number > highest_lead) return;
    // multiples of 2 alone are a full-wave rectifier's, or pulses at 100 or 120 Hz: only the mains keep that so exactly
    if (divisor > 2 || !low || (divisor == 2 && !exact)) return;
    // off its rate the mains are known by their lowest lines: a load at three times as much has every third of them
    if (!exact && best.teeth.front().number > 2) return;
    if (!comb && (!exact || best.strongest()->number > 2)) return;
    found.push_back(named_mains(search, best, best_nominal));
    take_in(best, taken);
}

std::optional<double> mains_rate_of(const LineComb& comb, const Job& job) {
    for (const double nominal : Mains::nominal_hz) {
        if (job.vehicle.mains_hz && *job.vehicle.mains_hz != nominal) continue;
        if (std::abs(comb.spacing_hz / nominal - 1.0) < Mains::usual_stray && comb.teeth.front().number <= 4) return nominal;
    }
    return std::nullopt;
}

void look_for_phone(const SteadySearch& search, Taken& taken, std::vector<SteadyComb>& found) {
    const CombStretch* best = nullptr;
    for (const std::size_t c : search.channel_of) {
        const auto& phone = search.survey->channels[c].phone;
        if (phone && looks_like_frames(*phone) && (!best || phone->surprise > best->surprise)) best = &*phone;
    }
    if (!best || best->comb.surprise_of_rest < kRestOfNamed || best->comb.common_divisor() != 1) return;
    CombStretch whole = *best;
    std::erase_if(whole.comb.teeth, [&](const CombTooth& tooth) { return search.places.spoken_for(tooth.frequency_hz); });
    // with what others have laid claim to left out, it must look so still; and pulses at half the rate or less have lines there, too
    if (!looks_like_frames(whole) || part_of_finer_comb(search, whole.comb)) return;
    for (CombTooth& tooth : whole.comb.teeth) {
        tooth.mean_square.clear();
        for (const std::size_t c : search.channel_of) {
            const auto& phone = search.survey->channels[c].phone;
            const CombTooth* same = phone ? phone->comb.tooth(tooth.number) : nullptr;
            tooth.mean_square.push_back(same ? same->mean_square.front() : 0.0);
        }
    }
    found.push_back(named_phone(search, whole));
    for (int n = 1; n * whole.comb.spacing_hz < 20000.0; ++n)   // what comes and goes has skirts
        for (const double away_hz : {-2.0, 0.0, 2.0}) taken.lines_hz.push_back(n * whole.comb.spacing_hz + away_hz);
}

void look_for_buses(const SteadySearch& search, Taken& taken, std::vector<SteadyComb>& found) {
    for (std::size_t rounds = 0; rounds < kBusFrames.size(); ++rounds) {
        const BusFrames* clearest = nullptr;
        LineComb best;
        for (const BusFrames& bus : kBusFrames)
            if (LineComb comb = comb_of_bus(search, bus); comb.surprise > best.surprise) {
                clearest = &bus;
                best = std::move(comb);
            }
        if (!clearest) return;
        found.push_back(named_bus(search, best, clearest->what));
        take_in(best, taken);
        double most = 0;
        for (const CombTooth& tooth : best.teeth) most = std::max(most, tooth.total());
        taken.combs.push_back({best.spacing_hz, best.spacing_sd_hz, most});   // however few, of a rate so exact
    }
}

std::optional<BusLine> bus_of_line(double frequency_hz) {
    constexpr int highest = 3;
    for (int number = 1; number <= highest; ++number)
        for (const BusFrames& bus : kBusFrames)
            if (std::abs(frequency_hz / (number * bus.rate_hz) - 1.0) < BusFrames::tolerance) return BusLine{&bus, number};
    return std::nullopt;
}

}  // namespace hushtrace
