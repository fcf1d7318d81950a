#include "chain_system_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "chain_words.hpp"
#include "hushtrace/report/wording.hpp"

namespace hushtrace {
namespace {

constexpr double kBassBoost_hz = 130;

/// Three figures do: "60 Hz", "2.8 kHz".
std::string hz_text(double hz) {
    return hz < 999.5 ? fmt::format("{:.3g} Hz", hz) : fmt::format("{:.3g} kHz", hz / 1000);
}

std::string part_text(const ShapePart& part) {
    const std::string hz = hz_text(part.frequency_hz.value);
    const double gain = part.gain_db.value;
    switch (part.kind) {
        case ShapeKind::high_pass:
        case ShapeKind::low_pass:
            return fmt::format("{} {}, {} dB/octave{}", part.kind == ShapeKind::high_pass ? "high-pass" : "low-pass", hz,
                               part.slope_db_per_octave, part.linkwitz_riley ? " (Linkwitz-Riley, -6 dB there)" : "");
        case ShapeKind::low_shelf:
            return fmt::format("bass {} by a shelf, {:+.1f} dB, half of it at {}", gain > 0 ? "raised" : "lowered", gain, hz);
        case ShapeKind::high_shelf:
            return fmt::format("treble {} by a shelf, {:+.1f} dB, half of it at {}", gain > 0 ? "raised" : "lowered", gain, hz);
        case ShapeKind::peak:
            break;
    }
    const char* name = gain < 0 ? "dip" : part.frequency_hz.value < kBassBoost_hz ? "bass boost" : "peak";
    return fmt::format("{} {:+.1f} dB at {}, Q {:.1f}", name, gain, hz, part.q);
}

std::string channel(Channel one) { return spaced(to_word(one)); }

std::string added_text(double added_db) {
    if (added_db > 4.5) return fmt::format("added up they are in phase there ({:+.1f} dB)", added_db);
    if (added_db > 1.5) return fmt::format("added up they are a quarter turn apart there ({:+.1f} dB): odd orders, or one comes later", added_db);
    return fmt::format("added up they cancel there ({:+.1f} dB): turn the polarity of one, or look at delay and slopes", added_db);
}

}  // namespace

std::string shape_text(const ResponseShape& shape) {
    if (shape.parts.empty())
        return fmt::format("flat within ±{:.1f} dB from {} to {}", std::max(0.1, shape.flat_within_db), hz_text(shape.from_hz),
                           hz_text(shape.to_hz));
    std::string out = shape.loudness ? "loudness, both ends up: " : "";
    for (const ShapePart& part : shape.parts) out += (&part == &shape.parts.front() ? "" : "; ") + part_text(part);
    if (shape.left_over_db > 0.5) out += fmt::format("; not all of it is told by that ({:.1f} dB left)", shape.left_over_db);
    return out;
}

std::string all_pass_text(const ChainChannel& one) {
    std::string out;
    if (!one.phase) return out;
    for (const AllPass& pass : one.phase->all_passes) {
        out += (out.empty() ? "all-pass round " : "; all-pass round ") + hz_text(pass.frequency_hz.value);
        out += pass.order == 1 ? ", first order" : fmt::format(", second order, Q {:.1f}", pass.q);
    }
    return out;
}

std::string hears_text(const ChainChannel& one) {
    if (one.hears.empty()) return "";
    return one.hears.size() > 1 ? "plays both outputs" : "plays the " + channel(one.hears.front()) + " output";
}

std::string sentence_of(const ChainSum& sum) {
    if (sum.cause.empty()) return "";
    const std::string who = channel(sum.one) + " and " + channel(sum.other);
    std::string out = fmt::format("{} cancel round {} ({:.1f} dB there, from {} to {}): ", who, hz_text(sum.deepest_hz),
                                  sum.deepest_db, hz_text(sum.from_hz), hz_text(sum.to_hz));
    if (sum.cause == "all_pass") return out + "an all-pass turns one of them. Don't add the two up; take one, or undo it in a processor";
    if (sum.cause == "polarity") return out + "one of them is turned in polarity";
    if (sum.cause == "delay") return out + "one of them comes later";
    return out + "a processor turns them against each other";
}

std::string sentence_of(const ChainCrossing& crossing) {
    std::string out = fmt::format("{} takes over from {} at {}, both {:.1f} dB down there: the band is split", channel(crossing.upper),
                                  channel(crossing.lower), hz_text(crossing.frequency_hz), -crossing.below_db);
    out += crossing.added_db ? "; " + added_text(*crossing.added_db)
                             : std::string("; capture both in one take to know how they add up");
    return out;
}

std::string sentence_of(const VolumeDependence& one) {
    const double from = one.points.front().volume, to = one.points.back().volume;
    const std::string against = one.against == one.channel ? "" : " of " + channel(one.against);
    std::string out;
    const auto add = [&](const char* name, double hz, bool varies, std::optional<Reading> VolumePoint::*which, const std::optional<Reading>& change) {
        if (!change) return;
        double low = 1e9, high = -1e9;
        for (const VolumePoint& point : one.points)
            if (point.*which) {
                low = std::min(low, (point.*which)->value);
                high = std::max(high, (point.*which)->value);
            }
        if (!out.empty()) out += "; ";
        if (varies)
            out += fmt::format("the {} ({}) on {} changes with the volume: {:+.1f} dB against 1 kHz{} from volume {:g} to {:g}", name,
                               hz_text(hz), channel(one.channel), change->value, against, from, to);
        else
            out += fmt::format("the {} ({}) on {} keeps up with the volume from {:g} to {:g} (within {:.1f} dB)", name,
                               hz_text(hz), channel(one.channel), from, to, std::max(0.1, high - low));
    };
    add("bass", one.bass_hz, one.bass_varies, &VolumePoint::bass_db, one.bass_change_db);
    if (one.treble_varies) add("treble", one.treble_hz, true, &VolumePoint::treble_db, one.treble_change_db);
    return out;
}

std::string sentence_of(const LevelDependence& one) {
    const double more = one.loud_dbfs - one.soft_dbfs;
    const std::string where = one.volume ? fmt::format(" at volume {:g}", *one.volume) : "";
    if (one.kind == "straight")
        return fmt::format("{} follows the level played{}: {:.0f} dB more comes out as {:.1f} dB more", channel(one.channel), where, more,
                           more + one.gain_change_db.value);
    if (one.kind == "bass_limiter")
        return fmt::format("the bass on {} is held back when it is loud{}: {:.1f} dB of {:.0f} dB more are missing", channel(one.channel), where,
                           -one.bass_change_db->value, more);
    return fmt::format("{} on {}{}: of {:.0f} dB more played, {:.1f} dB more came out",
                       one.kind == "clips" ? "the tone is clipped" : "a limiter or compressor works", channel(one.channel), where, more,
                       more + one.gain_change_db.value);
}

std::vector<std::string> system_sentences(const ChainAnalysis& analysis) {
    std::vector<std::string> out;
    const auto add = [&](const std::string& text) {
        if (!text.empty()) out.push_back(text);
    };
    for (const ChainCrossing& one : analysis.crossings) add(sentence_of(one));
    for (const ChainSum& one : analysis.sums) add(sentence_of(one));
    for (const VolumeDependence& one : analysis.volume_dependence) add(sentence_of(one));
    for (const LevelDependence& one : analysis.level_dependence) add(sentence_of(one));
    return out;
}

std::string thd_of(const ChainDistortion& one) {
    if (!one.thd_percent) return "not measured";
    const Reading& thd = *one.thd_percent;
    return distortion_text(thd.value, thd.sd, thd.limited_by) + " at " + hz_text(one.tone_hz);
}

std::string ceiling_text(const ChainAnalysis& analysis) {
    if (!analysis.ceiling_volume) return "THD at the ceiling";
    return fmt::format("THD at {} {:g}", analysis.never_clips ? "the highest volume played (it never clips)," : "the ceiling, volume",
                       *analysis.ceiling_volume);
}

std::string noise_of(const ChainNoise* noise) {
    if (!noise || !noise->dbfs_a) return "not measured";
    if (!noise->dbv_a) return level_text(noise->dbfs_a->value, std::nullopt);
    return level_text(std::nullopt, noise->dbv_a->value) + limit_text(noise->dbv_a->limited_by);
}

bool has_distortion_table(const ChainAnalysis& analysis) {
    return std::any_of(analysis.channels.begin(), analysis.channels.end(), [](const ChainChannel& one) {
        return one.minus_20.thd_percent || one.at_ceiling.thd_percent || one.noise;
    });
}

std::string limit_name(const LimitLine& line) {
    constexpr std::array<std::pair<const char*, const char*>, 10> names = {{{"balance_db", "balance"},
                                                                           {"delay_difference_ms", "difference of delay"},
                                                                           {"same_polarity", "one polarity on all channels"},
                                                                           {"response_tolerance_db", "response"},
                                                                           {"crosstalk_1khz_db", "crosstalk at 1 kHz"},
                                                                           {"crosstalk_10khz_db", "crosstalk at 10 kHz"},
                                                                           {"minus_20_thd_percent", "THD 20 dB below full scale"},
                                                                           {"ceiling_thd_percent", "THD at the ceiling"},
                                                                           {"noise_dbv_a", "noise, A-weighted"},
                                                                           {"", ""}}};
    std::string out = line.what;
    for (const auto& [word, text] : names)
        if (line.what == word) out = text;
    if (line.channel) out += ", " + channel(*line.channel);
    if (line.against) out += " against " + channel(*line.against);
    return out;
}

std::string limit_found(const LimitLine& line) {
    if (line.verdict == "not_measured") return line.found_text.empty() ? "not measured" : "not measured (" + line.found_text + ")";
    if (!line.found_text.empty()) return line.found_text;
    if (!line.found) return "";
    if (line.unit == "%") return distortion_text(line.found->value, line.found->sd, line.found->limited_by);
    if (line.found->limited_by == LimitedBy::noise) return fmt::format("below {:.1f} {} (noise)", line.found->high(), line.unit);
    return with_sd(line.found->value, line.found->sd, line.unit.c_str()) + limit_text(line.found->limited_by);
}

std::string limit_asked(const LimitLine& line) {
    if (line.what == "same_polarity") return "alike (" + line.origin + ")";
    return fmt::format("at most {:g} {} ({})", line.limit, line.unit, line.origin);
}

}  // namespace hushtrace
