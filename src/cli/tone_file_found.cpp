#include "tone_file_found.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/signal/take_file.hpp"

namespace hushtrace::cli {
namespace {

using Json = nlohmann::ordered_json;

const char* word_for(Marker::End end) {
    return end == Marker::End::opening ? "opening" : "closing";
}

}  // namespace

std::string ToneFileFound::text() const {
    if (lined_up) {
        const double ppm = lined_up->clock_ppm;
        return fmt::format(
            "tone file: from {:.3f} s to {:.3f} s; its player's clock runs {:.1f} ppm {} than the interface's (sd {:.2f})",
            lined_up->tone_start_s, lined_up->tone_end_s, std::abs(ppm), ppm > 0 ? "slower" : "faster",
            lined_up->clock_ppm_sd);
    }
    if (markers.empty())
        return "tone file: neither of its markers is in this take; start capturing before the file";
    return fmt::format("tone file: only its {} marker is in this take, at {:.3f} s; the clocks can't be compared",
                       word_for(markers.front().end), markers.front().time_s);
}

Json ToneFileFound::json() const {
    Json all = Json::array();
    for (const FoundMarker& marker : markers)
        all.push_back({{"end", word_for(marker.end)},
                       {"time_s", marker.time_s},
                       {"time_sd_s", marker.time_sd_s},
                       {"inverted", marker.inverted}});
    Json out = {{"markers", std::move(all)}};
    out["tone_start_s"] = lined_up ? Json(lined_up->tone_start_s) : Json(nullptr);
    out["tone_end_s"] = lined_up ? Json(lined_up->tone_end_s) : Json(nullptr);
    out["clock_ppm"] = lined_up ? Json(lined_up->clock_ppm) : Json(nullptr);
    out["clock_ppm_sd"] = lined_up ? Json(lined_up->clock_ppm_sd) : Json(nullptr);
    return out;
}

std::optional<ToneFileFound> find_tone_file(const std::filesystem::path& sound, const Take& take) {
    if (!take.tone || !take.tone->via || take.tone->via == ToneVia::interface_output) return std::nullopt;
    const auto channel = std::find_if(take.channels.begin(), take.channels.end(), carries_signal);
    if (channel == take.channels.end()) return std::nullopt;
    TakeReader reader(sound);
    ToneFileFound out;
    out.markers = find_markers(reader, static_cast<std::size_t>(channel - take.channels.begin()));
    out.lined_up = line_up(out.markers, take.tone->waveform);
    return out;
}

}  // namespace hushtrace::cli
