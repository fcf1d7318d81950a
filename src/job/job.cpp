#include "hushtrace/job/job.hpp"

#include <algorithm>

#include "hushtrace/signal/decibel.hpp"

namespace hushtrace {

bool Take::has(TakeFault fault) const {
    return std::find(faults.begin(), faults.end(), fault) != faults.end();
}

std::optional<double> Job::volts_full_scale(const Take& take, std::size_t channel_index) const {
    if (channel_index >= interface.volts_full_scale.size() || !interface.volts_full_scale[channel_index])
        return std::nullopt;
    const double pad_db =
        channel_index < take.attenuation_db.size() ? take.attenuation_db[channel_index] : 0.0;
    return *interface.volts_full_scale[channel_index] * amplitude_from_decibels(pad_db);
}

Job::Referred Job::referred_to_probe(const Take& take, std::size_t channel_index) const {
    if (const auto volts = volts_full_scale(take, channel_index)) return {dbv_from_dbfs(0.0, *volts), true};
    return {channel_index < take.attenuation_db.size() ? take.attenuation_db[channel_index] : 0.0, false};
}

std::optional<double> Job::volts_full_scale_sd_db(std::size_t channel_index) const {
    const auto& sd = interface.volts_full_scale_sd_db;
    return channel_index < sd.size() ? sd[channel_index] : std::nullopt;
}

std::optional<double> Job::own_noise_at_probe_dbv(const OwnNoiseField& field, const Take& take,
                                                  std::size_t channel_index) const {
    const auto& values = interface.*field.values;
    if (channel_index >= values.size() || !values[channel_index]) return std::nullopt;
    return *values[channel_index] +
           (channel_index < take.attenuation_db.size() ? take.attenuation_db[channel_index] : 0.0);
}

}  // namespace hushtrace
