#include "hushtrace/diagnose/power_analysis.hpp"

#include <algorithm>

#include "../takes/told_reader.hpp"
#include "hushtrace/signal/error.hpp"
#include "power_parts.hpp"

namespace hushtrace {

std::string_view to_word(CableVerdict verdict) {
    switch (verdict) {
        case CableVerdict::fits: return "fits";
        case CableVerdict::too_thin: return "too_thin";
        case CableVerdict::drops_too_much: return "drops_too_much";
        case CableVerdict::not_stated: return "not_stated";
        case CableVerdict::beyond_tables: break;
    }
    return "beyond_tables";
}

namespace {
constexpr double kTwelve_v = 16.0;   // what a 12 V side has at most, about
}

std::vector<std::string> power_cautions(const Job& job) {
    std::vector<std::string> cautions = {
        "Battery negative off first and on last; radio codes and memories may be lost, some modules need teaching again: see the vehicle's manual.",
        "The main fuse goes close to the battery and before any metal that the cable could chafe on; the fuse stays out until all else is connected.",
        "No sharp edge without a grommet, no run beside moving, hot or fuel-carrying parts, none through the paths of airbags.",
        "Yellow plugs belong to airbags and belt tensioners: never probe, splice or ground near them, and wait as long as the vehicle's manual says.",
        "Run an engine outdoors or with its exhaust led away; keep leads and sleeves out of belts and fans.",
        "A fuse protects the cable, never the amplifier: a larger one in place of one that blew burns the cable.",
        "Local code, the vehicle maker's instructions and licensed trades come before these figures."};
    if (job.vehicle.supply_v.value_or(12.0) > kTwelve_v)
        cautions.insert(cautions.begin(),
                        "24 V destroys an amplifier made for 12 V: it needs a 24 to 12 V converter of its current, or an amplifier for 24 V. Never "
                        "feed it from one of the two batteries in series: that one is then undercharged, the other overcharged.");
    if (job.vehicle.drive == Drive::hybrid || job.vehicle.drive == Drive::electric)
        cautions.insert(
            cautions.begin(),
            "Orange cables carry high voltage: hands off, nothing along them, no ground on their brackets. What is above 60 V dc or 30 V ac "
            "is work for people trained for it. The 12 V side may be live without the key.");
    return cautions;
}

PowerAnalysis analyse_power(const OpenedJob& job, const OpenTake& open) {
    if (job.job.amplifiers.empty() && job.job.supply.branches.empty())
        throw Error(ErrorKind::invalid_request,
                    "the job has no amplifier: name one with its current, such as --amplifier sub,max_current_a=50");
    PowerAnalysis out;
    size_supply(job.job, out);
    estimate_ripple(job.job, out);
    read_ripple(job, open, out);
    out.cautions = power_cautions(job.job);
    return out;
}

PowerAnalysis analyse_power(const OpenedJob& job) {
    Oddities oddities;
    PowerAnalysis out = analyse_power(job, [&](const Take& take) {
        return std::make_unique<ToldReader>(take_path(job, take), oddities[take.file]);
    });
    warn_of_oddities(oddities, out.warnings);
    return out;
}

}  // namespace hushtrace
