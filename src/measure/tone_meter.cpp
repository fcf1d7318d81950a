#include "hushtrace/measure/tone_meter.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <vector>

#include "hushtrace/measure/clipping.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/spectrum/transform.hpp"
#include "hushtrace/spectrum/window.hpp"

namespace hushtrace {
namespace {

constexpr double kWindowSeconds = 0.1, kWindowCycles = 10.0, kHopSeconds = 0.025;
constexpr double kStandsOut = 10.0;       // against the bins beside it, in power
constexpr std::size_t kHalfLobe = 3;      // bins to either side of a line that are taken for it; the lobe ends at 4
constexpr std::size_t kMostHarmonics = 40;
// Seven bins of Blackman-Harris noise (2.0 bins wide) are worth some 3.5 independent ones.
constexpr double kFreeBins = 3.5;

std::size_t window_length(double rate, double tone_hz) {
    if (!(rate > 0) || !(tone_hz > 0) || !(tone_hz < 0.45 * rate))
        throw Error(ErrorKind::invalid_request, fmt::format("a tone of {:g} Hz can't be read at {:g} Hz rate", tone_hz, rate));
    return fast_length(static_cast<std::size_t>(std::ceil(rate * std::max(kWindowSeconds, kWindowCycles / tone_hz))));
}

}  // namespace

struct ToneMeter::State {
    State(double sample_rate, double tone)
        : rate(sample_rate),
          tone_hz(tone),
          length(window_length(sample_rate, tone)),
          hop(std::min(length, static_cast<std::size_t>(std::lround(kHopSeconds * sample_rate)))),
          window(window_samples(WindowKind::blackman_harris, length)),
          fft(length),
          windowed(length),
          bins(fft.bins()),
          power(fft.bins()) {
        for (const double w : window) energy += w * w;
        bin_hz = rate / static_cast<double>(length);
    }

    void read();
    std::size_t peak_bin() const;
    /// Amplitude squared that the lobe round a bin holds.
    double lobe(std::size_t centre) const {
        double sum = 0;
        for (std::size_t k = centre > kHalfLobe ? centre - kHalfLobe : 0; k <= centre + kHalfLobe && k < power.size(); ++k)
            sum += power[k];
        return 4.0 * sum / (static_cast<double>(length) * energy);
    }
    double coarse_hz(std::size_t centre) const;
    double frequency(std::size_t centre);
    /// power that stands in a lobe, and the variance that its own reading brings into the sum over all harmonics
    struct Noise {
        double power = 0, variance = 0;
    };
    Noise noise_in_lobe(double place, double spacing);
    void read_harmonics(ToneMeterReading& out, double fundamental);
    void read_strongest(ToneMeterReading& out) const;

    double rate, tone_hz;
    std::size_t length, hop;
    std::vector<double> window;
    RealTransform fft;
    std::vector<double> windowed, pending, scratch;
    std::vector<std::complex<double>> bins;
    std::vector<double> power;
    double energy = 0, bin_hz = 0;
    std::size_t taken = 0;  // samples before pending's first
    std::optional<double> phase_before;
    std::optional<ToneMeterReading> newest;
};

/// The strongest bin where the tone is looked for.
std::size_t ToneMeter::State::peak_bin() const {
    const double place = tone_hz / bin_hz, reach = std::max(2.0, 0.01 * place);
    std::size_t peak = static_cast<std::size_t>(std::lround(place));
    for (auto k = static_cast<std::size_t>(std::max(1.0, std::ceil(place - reach))); static_cast<double>(k) <= place + reach; ++k)
        if (k < power.size() && power[k] > power[peak]) peak = k;
    return peak;
}

/// Three bins of the lobe are nearly a parabola in decibels: to some hundredths of a bin.
double ToneMeter::State::coarse_hz(std::size_t centre) const {
    if (centre < 1 || centre + 1 >= power.size()) return static_cast<double>(centre) * bin_hz;
    const double a = std::log(power[centre - 1]), b = std::log(power[centre]), c = std::log(power[centre + 1]);
    const double curve = a - 2.0 * b + c;
    return (static_cast<double>(centre) + (curve < 0 ? 0.5 * (a - c) / curve : 0.0)) * bin_hz;
}

double ToneMeter::State::frequency(std::size_t centre) {
    const double coarse = coarse_hz(centre);
    // neighbouring bins of one line differ by half a turn
    const double phase = std::arg(bins[centre]) + (centre % 2 == 1 ? std::numbers::pi : 0.0);
    double found = coarse;
    if (phase_before) {
        const double hop_s = static_cast<double>(hop) / rate;
        const double turns = (phase - *phase_before) / (2.0 * std::numbers::pi);
        found = (turns + std::round(coarse * hop_s - turns)) / hop_s;
        if (std::abs(found - coarse) > 0.25 * bin_hz) found = coarse;  // the tone moved in between
    }
    phase_before = phase;
    return found;
}

/// From the bins halfway to the neighbouring multiples.
ToneMeter::State::Noise ToneMeter::State::noise_in_lobe(double place, double spacing) {
    scratch.clear();
    const auto take = [&](double bin) {
        const auto k = static_cast<std::ptrdiff_t>(std::lround(bin));
        if (k > 4 && k < static_cast<std::ptrdiff_t>(power.size())) scratch.push_back(power[static_cast<std::size_t>(k)]);
    };
    if (spacing >= 16) {
        for (int apart = 5; apart <= 8; ++apart) {
            take(place - apart);
            take(place + apart);
        }
    } else {
        for (const double apart : {-1.5, -0.5, 0.5, 1.5}) take(place + apart * spacing);
    }
    if (scratch.empty()) return {};
    const double shared = spacing >= 16 ? 1.0 : 4.0;   // so many harmonics read their noise by the same bin
    const std::size_t rank = scratch.size() / 2;
    const auto middle = scratch.begin() + static_cast<std::ptrdiff_t>(rank);
    std::nth_element(scratch.begin(), middle, scratch.end());
    // A noise bin's power is spread exponentially; of n such the one at this rank is, on average, so much of the mean
    // (Renyi 1953: the gaps between them are exponential, too).
    double share = 0, variance = 0;
    for (std::size_t j = 0; j <= rank; ++j) {
        const double gap = 1.0 / static_cast<double>(scratch.size() - j);
        share += gap;
        variance += gap * gap;
    }
    const double noise = *middle / share * static_cast<double>(2 * kHalfLobe + 1) * 4.0 / (static_cast<double>(length) * energy);
    return {noise, shared * variance * noise * noise / (share * share)};
}

void ToneMeter::State::read_harmonics(ToneMeterReading& out, double fundamental) {
    const double spacing = out.frequency_hz / bin_hz;
    const double last_hz = std::min(20000.0, 0.475 * rate);
    double sum = 0, variance = 0;
    for (std::size_t h = 2; h <= kMostHarmonics && static_cast<double>(h) * out.frequency_hz <= last_hz; ++h) {
        const double place = spacing * static_cast<double>(h);
        const auto [noise, noise_variance] = noise_in_lobe(place, spacing);
        const double held = lobe(static_cast<std::size_t>(std::lround(place))) - noise;
        sum += held;
        variance += (noise * noise + 2.0 * std::max(held, 0.0) * noise) / kFreeBins + noise_variance;
    }
    const double sd = std::sqrt(variance);
    out.thd_ratio = std::sqrt(std::max(sum, 0.0) / fundamental);
    out.thd_sd_ratio = std::sqrt((std::max(sum, 0.0) + sd) / fundamental) - out.thd_ratio;
}

void ToneMeter::State::read_strongest(ToneMeterReading& out) const {
    double whole = 0;
    std::size_t strongest = 0;
    for (std::size_t k = 5; k < power.size(); ++k) {  // dc and its lobe are no line
        whole += power[k];
        if (strongest == 0 || power[k] > power[strongest]) strongest = k;
    }
    if (!(whole > 0)) return;
    double held = 0;
    for (std::size_t k = strongest - kHalfLobe; k <= strongest + kHalfLobe && k < power.size(); ++k) held += power[k];
    out.strongest_hz = coarse_hz(strongest);
    out.strongest_share = std::min(1.0, held / whole);
}

void ToneMeter::State::read() {
    ToneMeterReading out;
    out.end_s = static_cast<double>(taken + length) / rate;
    out.level_dbfs = -std::numeric_limits<double>::infinity();
    bool finite = true;
    double mean = 0;
    for (std::size_t n = 0; n < length; ++n) {
        finite = finite && std::isfinite(pending[n]);
        mean += pending[n];
        out.largest = std::max(out.largest, std::abs(pending[n]));
    }
    if (!finite || !(out.largest > 0)) {
        out.largest = 0;
        phase_before.reset();
        newest = out;
        return;
    }
    mean /= static_cast<double>(length);
    for (std::size_t n = 0; n < length; ++n) windowed[n] = window[n] * (pending[n] - mean);
    fft.forward(windowed, bins);
    for (std::size_t k = 0; k < bins.size(); ++k) power[k] = std::norm(bins[k]);
    out.pinned_share = share_pinned_to_rail({pending.data(), length});
    read_strongest(out);
    const std::size_t peak = peak_bin();
    const double held = lobe(peak);
    out.amplitude = std::sqrt(held);
    out.level_dbfs = decibels_from_amplitude(out.amplitude);
    double beside = 0;
    for (const std::size_t apart : {5U, 6U}) {
        beside += peak > apart ? power[peak - apart] : 0.0;
        beside += peak + apart < power.size() ? power[peak + apart] : 0.0;
    }
    // at the edge of the search a louder line beyond it may reach in: then this is no peak
    const bool top = power[peak] >= power[peak - 1] && power[peak] >= power[peak + 1];
    out.present = top && power[peak] > kStandsOut * beside / 4.0;
    if (out.present) {
        out.frequency_hz = frequency(peak);
        read_harmonics(out, held);
    } else {
        phase_before.reset();
    }
    newest = out;
}

ToneMeter::ToneMeter(double sample_rate_hz, double tone_hz) : state_(std::make_unique<State>(sample_rate_hz, tone_hz)) {}
ToneMeter::~ToneMeter() = default;
ToneMeter::ToneMeter(ToneMeter&&) noexcept = default;
ToneMeter& ToneMeter::operator=(ToneMeter&&) noexcept = default;

void ToneMeter::add(std::span<const double> samples) {
    State& s = *state_;
    while (!samples.empty()) {
        const std::size_t count = std::min(samples.size(), s.length - s.pending.size());
        s.pending.insert(s.pending.end(), samples.begin(), samples.begin() + static_cast<std::ptrdiff_t>(count));
        samples = samples.subspan(count);
        if (s.pending.size() < s.length) return;
        s.read();
        s.pending.erase(s.pending.begin(), s.pending.begin() + static_cast<std::ptrdiff_t>(s.hop));
        s.taken += s.hop;
    }
}

const std::optional<ToneMeterReading>& ToneMeter::newest() const {
    return state_->newest;
}
double ToneMeter::window_s() const {
    return static_cast<double>(state_->length) / state_->rate;
}
double ToneMeter::hop_s() const {
    return static_cast<double>(state_->hop) / state_->rate;
}

}  // namespace hushtrace
