#include <array>
#include <string>
#include <utility>

#include "scenario_parts.hpp"

namespace hushtrace::simulated {
namespace {

constexpr std::array<std::pair<const char*, FilterKind>, 6> filter_kinds = {{{"peak", FilterKind::peak},
                                                                            {"low_shelf", FilterKind::low_shelf},
                                                                            {"high_shelf", FilterKind::high_shelf},
                                                                            {"high_pass", FilterKind::high_pass},
                                                                            {"low_pass", FilterKind::low_pass},
                                                                            {"all_pass", FilterKind::all_pass}}};

FilterPart read_filter(Fields& fields) {
    FilterPart part;
    const std::string kind = fields.text("kind");
    bool known = false;
    for (const auto& [word, meant] : filter_kinds) {
        if (kind != word) continue;
        part.kind = meant;
        known = true;
    }
    if (!known)
        fields.refuse("kind", "must be peak, low_shelf, high_shelf, high_pass, low_pass or all_pass, found " + kind);
    part.frequency_hz = fields.number("frequency_hz", 5, 20000);
    const bool passes = part.kind == FilterKind::high_pass || part.kind == FilterKind::low_pass;
    if (passes) {
        part.order = fields.whole_or("order", part.order, 1, 8);
        part.linkwitz_riley = fields.flag_or("linkwitz_riley", false);
        if (part.linkwitz_riley && part.order % 2 == 1)
            fields.refuse("order", "of linkwitz_riley is even: two filters of half the order");
    } else if (part.kind == FilterKind::all_pass) {
        part.order = fields.whole_or("order", part.order, 1, 2);
        part.q = fields.number_or("q", part.q, 0.1, 30);
    } else {
        part.gain_db = fields.number("gain_db", -40, 40);
        part.q = fields.number_or("q", part.q, 0.1, 30);
    }
    fields.finish();
    return part;
}

std::vector<FilterPart> read_filters(Fields& fields, const char* name) {
    std::vector<FilterPart> out;
    for (Fields& entry : fields.objects(name)) out.push_back(read_filter(entry));
    return out;
}

VolumeBassPart read_volume_bass(Fields fields) {
    VolumeBassPart part;
    part.frequency_hz = fields.number("frequency_hz", 5, 2000);
    part.q = fields.number_or("q", part.q, 0.3, 2);
    for (const auto& entry : fields.pairs("table_db", -40, 1000)) {
        if (!part.gain_db.empty() && entry[0] <= part.gain_db.back().first)
            fields.refuse("table_db", "volumes must rise from entry to entry");
        if (entry[1] > 40) fields.refuse("table_db", "a gain of more than 40 dB");
        part.gain_db.emplace_back(entry[0], entry[1]);
    }
    if (part.gain_db.size() < 2) fields.refuse("table_db", "needs two entries or more");
    fields.finish();
    return part;
}

SourceChannel read_source_channel(Fields fields) {
    SourceChannel part;
    part.gain_db = fields.number_or("gain_db", 0, -60, 20);
    part.inverted = fields.flag_or("inverted", false);
    part.delay_ms = fields.number_or("delay_ms", 0, 0, 100);
    part.positive_rail_v = fields.number("positive_rail_v", 0.01, 100);
    part.negative_rail_v = fields.number("negative_rail_v", -100, -0.01);
    part.knee = fields.number_or("knee", 0, 0, 0.9);
    part.filters = read_filters(fields, "filters");
    fields.finish();
    return part;
}

void read_volume(Fields fields, SourcePart& part) {
    part.volume_top = fields.number("top", 1, 1000);
    if (fields.has("db_per_step") == fields.has("table_db"))
        fields.refuse("db_per_step", "give either db_per_step or table_db");
    if (fields.has("db_per_step")) {
        const double step = fields.number("db_per_step", 0.01, 20);
        part.volume_gain_db = {{1.0, -step * (part.volume_top - 1.0)}, {part.volume_top, 0.0}};
    } else {
        for (const auto& entry : fields.pairs("table_db", -200, 1000)) {
            if (!part.volume_gain_db.empty() && entry[0] <= part.volume_gain_db.back().first)
                fields.refuse("table_db", "volumes must rise from entry to entry");
            part.volume_gain_db.emplace_back(entry[0], entry[1]);
        }
        if (part.volume_gain_db.size() < 2) fields.refuse("table_db", "needs two entries or more");
        if (part.volume_gain_db.back().first != part.volume_top)
            fields.refuse("table_db", "the last entry must be that of the top volume");
    }
    fields.finish();
}

}  // namespace

SourcePart read_source(Fields fields) {
    SourcePart part;
    part.description = fields.text("description");
    part.preout_v = fields.number("preout_v", 0.05, 50);
    part.factory = fields.flag_or("factory", false);
    read_volume(fields.object("volume"), part);
    part.full_scale_v = fields.number("full_scale_v", 0.05, 100);
    part.line_full_scale_v = fields.number_or("line_full_scale_v", part.line_full_scale_v, 0.05, 20);
    part.channels[0] = read_source_channel(fields.object("left"));
    part.channels[1] = read_source_channel(fields.object("right"));
    for (const Channel channel : {Channel::rear_left, Channel::rear_right, Channel::center, Channel::sub}) {
        const std::string name(to_word(channel));
        if (fields.has(name.c_str())) part.further.push_back({channel, read_source_channel(fields.object(name.c_str()))});
    }
    part.equaliser = read_filters(fields, "equaliser");
    part.digital_ceiling_dbfs = fields.maybe_number("digital_ceiling_dbfs", -40, 40);
    if (fields.has("volume_bass")) part.volume_bass = read_volume_bass(fields.object("volume_bass"));
    if (fields.has("limiter")) {
        Fields inner = fields.object("limiter");
        part.limiter = LimiterPart{inner.number("threshold_v", 0.001, 100), inner.number_or("ratio", 20, 1, 1000),
                                   inner.number_or("attack_ms", 5, 0.01, 1000), inner.number_or("release_ms", 200, 1, 10000)};
        inner.finish();
    }
    part.crosstalk_db = fields.number_or("crosstalk_db", part.crosstalk_db, -200, 0);
    part.second_harmonic_percent =
        fields.number_or("second_harmonic_percent", part.second_harmonic_percent, 0, 5);
    part.third_harmonic_percent =
        fields.number_or("third_harmonic_percent", part.third_harmonic_percent, 0, 5);
    part.noise_dbv = fields.number_or("noise_dbv", part.noise_dbv, -200, 0);
    part.input_noise_dbfs = fields.number_or("input_noise_dbfs", part.input_noise_dbfs, -200, 0);
    part.output_ohm = fields.number_or("output_ohm", part.output_ohm, 0, 100000);
    part.clock_ppm = fields.number("clock_ppm", -1000, 1000);
    part.mutes_after_s = fields.maybe_number("mutes_after_s", 0.01, 600);
    part.shell_to_case_ohm = fields.number_or("shell_to_case_ohm", part.shell_to_case_ohm, 1e-4, 1e9);
    part.ground_mohm = fields.number_or("ground_mohm", part.ground_mohm, 0.01, 1e6);
    part.supply_rejection_db = fields.number("supply_rejection_db", 0, 200);
    part.supply_rejection_corner_hz =
        fields.number_or("supply_rejection_corner_hz", part.supply_rejection_corner_hz, 20, 1e6);
    part.supply_before_volume = fields.flag_or("supply_before_volume", false);
    for (Fields& line : fields.objects("internal_lines")) {
        part.internal_lines.push_back(
            {line.number("frequency_hz", 1, 20000), line.number("level_dbv", -200, 20)});
        line.finish();
    }
    if (fields.has("antenna")) {
        Fields inner = fields.object("antenna");
        part.antenna = AntennaPart{inner.number("shield_ohm", 1e-3, 1e9), inner.number("base_mohm", 0, 1000)};
        inner.finish();
    }
    fields.finish();
    return part;
}

}  // namespace hushtrace::simulated
