#pragma once
#include <array>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include "clipper.hpp"
#include "filters.hpp"
#include "hushtrace/signal/conditions.hpp"
#include "player.hpp"
#include "random.hpp"
#include "scenario.hpp"
#include "sound_shaping.hpp"

namespace hushtrace::simulated {

/// Gain of the volume control against its top [linear]; volume 0 and below is off.
double volume_gain(const SourcePart& part, double volume);
/// The law of one channel's output stage.
RailLaw rail_law(const SourcePart& part, const SourceChannel& one);
/// What stands behind the equaliser: straight up to the end of its digital scale.
RailLaw digital_law(double ceiling_dbfs);

/// A source's outputs at one instant [V]: left, right, then `further` in its order.
using SourceOutputs = std::array<double, 6>;

/// The source: what it plays, its volume control, its rails, its own noise.
class Source {
public:
    Source(const SourcePart& part, double sample_rate_hz, double sample_period_s, std::uint64_t seed);

    void set_state(SourceState state) { state_ = state; }
    void set_volume(double volume);  ///< ramps there within some 30 ms
    void play(std::unique_ptr<Player> player) { player_ = std::move(player); }

    /// One sample of both outputs [V], unloaded.
    ///   line_in_v [V]           what stands at its line input, noise of that lead included; heard unless a
    ///   file plays aux_noise_v [V]         what a device on its input adds, heard with either supply_v [V]
    ///   the changing part of its supply
    SourceOutputs advance(double line_in_v, double aux_noise_v, double supply_v);

private:
    struct ChannelState {
        Clipper output;
        DelayLine delay;
        OnePole coupling;
        double gain = 1;
        FilterChain filters;
        std::optional<std::size_t> neighbour;  ///< whose signal leaks over
        std::array<double, 2> hears = {1, 0};  ///< shares of the played left and right
    };
    std::array<double, 2> shaped(std::array<double, 2> playing);

    SourcePart part_;
    double period_s_;
    Random random_;
    Clipper line_input_;
    std::vector<ChannelState> channels_;
    std::vector<FilterChain> equaliser_;
    std::vector<Clipper> digital_end_;
    std::optional<VolumeBass> volume_bass_;
    std::optional<Limiter> limiter_;
    OnePole rejection_;
    double rejection_gain_, noise_v_, input_noise_;
    SourceState state_ = SourceState::on;
    std::unique_ptr<Player> player_;
    double gain_ = 0, wanted_gain_ = 0, gain_approach_, click_v_ = 0, open_ = 1;
    bool volume_known_ = false;
    std::vector<double> line_rev_;
};

}  // namespace hushtrace::simulated
