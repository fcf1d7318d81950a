#pragma once
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "../../src/diagnose/gain/gain_parts.hpp"

/// Curves of a stepped volume that never were sound, for the tests of what is made of them.
namespace made_curves {

struct Made {
    std::optional<double> volume;
    double level_dbfs = 0, thd_percent = 0.01, thd_sd_percent = 0.001;
    bool overload = false;
};

inline hushtrace::GainCurve curve_of(const hushtrace::Take& take, hushtrace::Channel channel, double tone_hz, const std::vector<Made>& steps) {
    hushtrace::GainCurve out;
    out.take = &take;
    out.curve.take = take.file;
    out.curve.channel = channel;
    out.curve.tone_hz = tone_hz;
    for (const Made& one : steps) {
        hushtrace::VolumeStep step;
        step.number = out.curve.steps.size() + 1;
        step.volume = one.volume;
        step.level_dbfs = one.level_dbfs;
        step.level_sd_db = 0.001;
        step.thd_percent = one.thd_percent;
        step.thd_sd_percent = one.thd_sd_percent;
        step.input_overload = one.overload;
        out.curve.steps.push_back(step);
    }
    return out;
}

/// Volumes from 20 on, one apart, at these levels.
inline std::vector<Made> at_levels(const std::vector<double>& levels_dbfs) {
    std::vector<Made> out;
    for (const double level : levels_dbfs) out.push_back({20.0 + static_cast<double>(out.size()), level});
    return out;
}

/// One clean step for each of these THD [percent]; the level rises by 2 dB each from -20 dBFS.
inline std::vector<Made> with_thd(const std::vector<double>& thd_percent, double sd_percent = 0.001) {
    std::vector<Made> out;
    for (const double thd : thd_percent)
        out.push_back({20.0 + static_cast<double>(out.size()), -20.0 + 2.0 * static_cast<double>(out.size()), thd, sd_percent});
    return out;
}

}  // namespace made_curves
