#include <algorithm>
#include <memory>
#include <vector>

#include "hushtrace/audio/link.hpp"
#include "pace.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t frames_per_transfer = 1024;

class SimulatedLink final : public Link {
public:
    SimulatedLink(SimulatedVehicle& vehicle, const SimulatedConditions& conditions, bool paced)
        : vehicle_(vehicle), channels_(conditions.channels.size()), pace_(paced, vehicle.sample_rate_hz()) {
        vehicle_.set_conditions(conditions);
    }

    std::string name() const override { return vehicle_.title(); }
    double sample_rate_hz() const override { return vehicle_.sample_rate_hz(); }
    std::size_t input_channels() const override { return channels_; }
    void start() override { pace_.start(); }
    LinkNotice transfer(const PlaySupply& supply, Block& captured) override {
        to_play_.assign(frames_per_transfer, 0.0);
        if (supply) supply(to_play_);
        for (double& sample : to_play_) sample = std::clamp(sample, -1.0, 1.0);  // as a converter would
        vehicle_.render(to_play_, captured);
        pace_.wait_for(frames_per_transfer);
        return {};
    }
    void stop() noexcept override {}
    void set_volume(double volume) override { vehicle_.set_volume(volume); }
    bool turns_volume() const override { return true; }

private:
    SimulatedVehicle& vehicle_;
    std::size_t channels_;
    audio::Pace pace_;
    std::vector<double> to_play_;
};

}  // namespace

std::unique_ptr<Link> open_simulated_link(SimulatedVehicle& vehicle, const SimulatedConditions& conditions,
                                          bool paced) {
    return std::make_unique<SimulatedLink>(vehicle, conditions, paced);
}

}  // namespace hushtrace
