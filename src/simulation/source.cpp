#include "source.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace hushtrace::simulated {
namespace {

double ratio(double decibels) {
    return std::pow(10.0, decibels / 20.0);
}

/// Rms over the whole band of white noise that has this rms between 20 Hz and 20 kHz.
double whole_band(double audio_rms, double rate_hz) {
    return audio_rms * std::sqrt(0.5 * rate_hz / 19980.0);
}

constexpr RailLaw digital_full_scale = {1.0, -1.0, 0.0, 0.0, 0.0};

}  // namespace

double volume_gain(const SourcePart& part, double volume) {
    if (volume <= 0) return 0;
    const auto& table = part.volume_gain_db;
    const double at = std::clamp(volume, table.front().first, part.volume_top);
    const auto above =
        std::find_if(table.begin(), table.end(), [at](const auto& entry) { return entry.first >= at; });
    if (above == table.begin()) {
        // Below the table's first entry the control runs out to nothing.
        return ratio(above->second) * std::min(1.0, volume / above->first);
    }
    const auto below = above - 1;
    const double place = (at - below->first) / (above->first - below->first);
    return ratio(below->second + place * (above->second - below->second));
}

RailLaw digital_law(double ceiling_dbfs) {
    return {ratio(ceiling_dbfs), -ratio(ceiling_dbfs), 0.0, 0.0, 0.0};
}

RailLaw rail_law(const SourcePart& part, const SourceChannel& one) {
    const double rail = std::min(one.positive_rail_v, -one.negative_rail_v);
    // A sine of peak A through x + b2 x^2 + b3 x^3 has a second harmonic b2 A / 2 and a third b3 A^2 / 4 of
    // the first.
    return {one.positive_rail_v, one.negative_rail_v, one.knee, 0.02 * part.second_harmonic_percent / rail,
            0.04 * part.third_harmonic_percent / (rail * rail)};
}

Source::Source(const SourcePart& part, double sample_rate_hz, double sample_period_s, std::uint64_t seed)
    : part_(part),
      period_s_(sample_period_s),
      random_(seed, 601),
      line_input_(digital_full_scale),
      rejection_(OnePole::rising_from(part.supply_rejection_corner_hz, sample_rate_hz)),
      rejection_gain_(ratio(-part.supply_rejection_db)),
      noise_v_(whole_band(ratio(part.noise_dbv), sample_rate_hz)),
      input_noise_(whole_band(ratio(part.input_noise_dbfs) / std::numbers::sqrt2, sample_rate_hz)),
      gain_approach_(1.0 - std::exp(-sample_period_s / 0.006)),
      line_rev_(part.internal_lines.size(), 0.0) {
    const auto add = [&](const SourceChannel& one, std::array<double, 2> hears, std::optional<std::size_t> neighbour) {
        const auto late = static_cast<std::size_t>(std::lround(1e-3 * one.delay_ms * sample_rate_hz));
        channels_.push_back({Clipper(rail_law(part, one)), DelayLine(late),
                             OnePole::high_pass(1.5, sample_rate_hz),
                             ratio(one.gain_db) * (one.inverted ? -1.0 : 1.0), FilterChain(one.filters, sample_rate_hz),
                             neighbour, hears});
    };
    add(part.channels[0], {1, 0}, 1);
    add(part.channels[1], {0, 1}, 0);
    const auto output_of = [&](Channel wanted) -> std::optional<std::size_t> {
        for (std::size_t i = 0; i < part.further.size(); ++i)
            if (part.further[i].channel == wanted) return i + 2;
        return std::nullopt;
    };
    for (const FurtherOutput& one : part.further) {
        if (one.channel == Channel::rear_left)
            add(one.part, {1, 0}, output_of(Channel::rear_right));
        else if (one.channel == Channel::rear_right)
            add(one.part, {0, 1}, output_of(Channel::rear_left));
        else
            add(one.part, {0.5, 0.5}, std::nullopt);
    }
    if (!part.equaliser.empty()) equaliser_.assign(2, FilterChain(part.equaliser, sample_rate_hz));
    if (part.digital_ceiling_dbfs) digital_end_.assign(2, Clipper(digital_law(*part.digital_ceiling_dbfs)));
    if (part.volume_bass) volume_bass_.emplace(*part.volume_bass, channels_.size(), sample_rate_hz);
    if (part.limiter) limiter_.emplace(*part.limiter, sample_period_s);
}

void Source::set_volume(double volume) {
    wanted_gain_ = volume_gain(part_, volume);
    if (!volume_known_)
        gain_ = wanted_gain_;
    else
        click_v_ += 4e-4 * wanted_gain_ + 2e-5;  // a trace of dc before the control steps with it
    if (volume_bass_) volume_bass_->set_volume(volume, !volume_known_);
    volume_known_ = true;
}

std::array<double, 2> Source::shaped(std::array<double, 2> playing) {
    for (std::size_t side = 0; side < 2; ++side) {
        if (!equaliser_.empty()) playing[side] = equaliser_[side].next(playing[side]);
        if (!digital_end_.empty()) playing[side] = digital_end_[side].next(playing[side]);
    }
    return playing;
}

SourceOutputs Source::advance(double line_in_v, double aux_noise_v, double supply_v) {
    const double from_supply = rejection_gain_ * rejection_.next(supply_v);
    const double sine_peak = std::numbers::sqrt2;
    const double line_full_scale = part_.line_full_scale_v * sine_peak;  // [V peak]

    std::array<double, 2> playing = {0.0, 0.0};  // full scale = 1.0
    double open = state_ == SourceState::on || state_ == SourceState::paused ? 1.0 : 0.0;
    if (state_ == SourceState::on) {
        if (player_) {
            playing = player_->next();
            if (part_.mutes_after_s && player_->silent_s() >= *part_.mutes_after_s) open = 0.0;
        } else {
            playing[0] = playing[1] = line_input_.next(line_in_v / line_full_scale);
        }
        playing[0] += aux_noise_v / line_full_scale;
        playing[1] += aux_noise_v / line_full_scale;
    }
    open_ += (open - open_) * gain_approach_;
    gain_ += (wanted_gain_ - gain_) * gain_approach_;
    click_v_ -= click_v_ * gain_approach_;
    if (volume_bass_) volume_bass_->move(gain_approach_);
    playing = shaped(playing);

    double internal_v = 0;
    for (std::size_t i = 0; i < line_rev_.size(); ++i) {
        const ToneLine& line = part_.internal_lines[i];
        line_rev_[i] += line.frequency_hz * period_s_;
        line_rev_[i] -= std::floor(line_rev_[i]);
        internal_v += sine_peak * ratio(line.level_dbv) * std::sin(2.0 * std::numbers::pi * line_rev_[i]);
    }

    const double top_peak_v = part_.full_scale_v * sine_peak;
    SourceOutputs before_rails{}, out{};
    double loudest_v = 0;
    for (std::size_t c = 0; c < channels_.size(); ++c) {
        const double heard =
            c < 2 ? playing[c] : channels_[c].hears[0] * playing[0] + channels_[c].hears[1] * playing[1];
        double in = heard + input_noise_ * random_.gaussian();
        if (part_.supply_before_volume) in += from_supply / top_peak_v;
        before_rails[c] = in * open_ * gain_ * top_peak_v * channels_[c].gain;
        if (volume_bass_) before_rails[c] = volume_bass_->next(c, before_rails[c]);
        before_rails[c] = channels_[c].filters.next(before_rails[c]);
        loudest_v = std::max(loudest_v, std::abs(before_rails[c]));
    }
    if (limiter_) {
        const double turned_down = limiter_->gain_for(loudest_v);
        for (double& volts : before_rails) volts *= turned_down;
    }
    const double leak = ratio(part_.crosstalk_db);
    for (std::size_t c = 0; c < channels_.size(); ++c) {
        ChannelState& channel = channels_[c];
        const double leaked = channel.neighbour ? leak * before_rails[*channel.neighbour] : 0.0;
        const double stage = channel.output.next(before_rails[c] + leaked + click_v_);
        double volts = channel.coupling.next(channel.delay.next(stage)) + noise_v_ * random_.gaussian();
        if (!part_.supply_before_volume) volts += from_supply;
        out[c] = state_ == SourceState::off ? 0.0 : volts + internal_v;
    }
    return out;
}

}  // namespace hushtrace::simulated
