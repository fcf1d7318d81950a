#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "../gain/amplifier_parts.hpp"
#include "hushtrace/job/spelling.hpp"
#include "hushtrace/signal/error.hpp"
#include "power_parts.hpp"

namespace hushtrace {
namespace {

constexpr double kUsualTemperature_c = 60;    // under carpet and behind the engine: common practice, no source
constexpr double kUsualDropShare = 0.5 / 12;  // 0.5 V of 12 V, 1 V of 24 V: common practice, no source
constexpr double kMusicShare = 1.0 / 3;       // of the largest draw, on average: common practice, no source
constexpr double kVehicleShare = 0.4;         // of the alternator's rating: common practice, no source
constexpr double kIdleShare = 0.5;            // of its rating, at idle: common practice, no source

std::string shown_name(const AmplifierData& one, std::size_t index) {
    return one.name.empty() ? fmt::format("amplifier {}", index + 1) : one.name;
}

std::string shown_name(const SupplyBranch& branch, std::size_t index) {
    return branch.name.empty() ? std::to_string(index + 1) : branch.name;
}

std::size_t amplifiers_named(const Job& job, const std::string& name) {
    std::size_t count = 0;
    for (std::size_t i = 0; i < job.amplifiers.size(); ++i)
        if (shown_name(job.amplifiers[i], i) == name) ++count;
    return count;
}

std::optional<double> stated_by_branch(const Job& job, const std::string& name) {
    std::optional<double> current_a;
    for (const SupplyBranch& branch : job.supply.branches)
        if (branch.name == name && branch.current_a.value_or(0.0) > current_a.value_or(0.0)) current_a = branch.current_a;
    return current_a;
}

/// Which branch feeds which of two amplifiers with one name, nobody can tell.
void check_names(const Job& job, std::vector<Warning>& warnings) {
    for (const SupplyBranch& branch : job.supply.branches)
        if (amplifiers_named(job, branch.name) > 1)
            throw Error(ErrorKind::invalid_request, fmt::format("two amplifiers have the name {}, and a branch too: give each amplifier its own",
                                                                in_quotes(branch.name)));
    std::set<std::string> names;
    for (const AmplifierData& one : job.amplifiers)
        if (!one.name.empty() && !names.insert(one.name).second)
            warnings.push_back({"amplifier_name_twice",
                                fmt::format("two amplifiers have the name {}; both are counted. Give each its own", in_quotes(one.name)),
                                std::nullopt});
}

/// Outputs that have the rated power, which is that of one: as many as channels feed it, but one where its output is bridged, or where
/// it plays the channels' sum.
std::size_t outputs_of(const AmplifierData& one) {
    return one.bridged_output == true || named_sub(one) ? 1 : std::max<std::size_t>(1, one.channels.size());
}

/// What the amplifiers draw; where a branch of the same name states a current, the greater of the two counts.
std::vector<PowerDraw> draws_of(const Job& job, std::vector<Warning>& warnings) {
    std::vector<PowerDraw> draws;
    for (std::size_t i = 0; i < job.amplifiers.size(); ++i) {
        const AmplifierData& one = job.amplifiers[i];
        PowerDraw draw;
        draw.name = shown_name(one, i);
        if (one.max_current_a && *one.max_current_a > 0)
            draw.current_a = *one.max_current_a;
        else if (one.power_w && *one.power_w > 0) {
            const double outputs = static_cast<double>(outputs_of(one));
            draw.current_a = draw_of_power_a(outputs * *one.power_w, job.vehicle.supply_v.value_or(12.0));
            draw.estimated = true;
            draw.note = fmt::format("estimated from its power: {:g} output{} of {:g} W{}", outputs, outputs > 1 ? "s" : "", *one.power_w,
                                    one.channels.empty() && one.bridged_output != true ? "; if it has more, name its channels or its largest current"
                                                                                      : "");
        }
        const auto stated_a = stated_by_branch(job, draw.name);
        if (!stated_a && !(draw.current_a > 0)) {
            warnings.push_back({"draw_unknown",
                                fmt::format("{}: neither its largest current nor its power is known; it is left out of the sum, so "
                                            "fuse and cable may come out too small. Give max_current_a (its own fuses add up to it)",
                                            draw.name),
                                std::nullopt});
            continue;
        }
        if (stated_a && !(draw.current_a > 0))
            draw.note = "as its branch states";
        else if (stated_a && *stated_a != draw.current_a)
            draw.note = fmt::format("the branch of that name states {:.0f} A, the amplifier {:.0f} A: the greater counts", *stated_a, draw.current_a);
        if (stated_a && *stated_a > draw.current_a) {
            draw.current_a = *stated_a;
            draw.estimated = false;
        }
        draws.push_back(std::move(draw));
    }
    for (std::size_t i = 0; i < job.supply.branches.size(); ++i) {  // a branch that feeds no amplifier of the job
        const SupplyBranch& branch = job.supply.branches[i];
        if (amplifiers_named(job, branch.name) == 0 && branch.current_a.value_or(0.0) > 0)
            draws.push_back({branch.name.empty() ? "branch " + shown_name(branch, i) : branch.name, *branch.current_a, false, {}});
    }
    return draws;
}

/// The feed or a branch, held against its fuse and the allowed drop.
///   wanted_fuse_a  the smallest fuse that its current needs; unset beyond the table
///   allowed_drop_v  0 or negative where the feed leaves nothing of it to a branch
void hold_against(PowerCable& cable, std::optional<double> wanted_fuse_a, double allowed_drop_v) {
    if (cable.current_a <= 0) return;
    if (cable.length_m && *cable.length_m > 0 && allowed_drop_v > 0)
        cable.drop_area_mm2 =
            area_for_drop_mm2(*cable.length_m, cable.current_a, allowed_drop_v, cable.conductor, cable.temperature_c);
    if (wanted_fuse_a) cable.fuse_area_mm2 = area_for_fuse_mm2(*wanted_fuse_a, cable.conductor);
    if (cable.area_mm2) {
        cable.carries = largest_fuse(*cable.area_mm2, cable.conductor);
        if (cable.length_m && *cable.length_m > 0) {
            cable.resistance_ohm = *cable.length_m * cable_ohm_per_m(*cable.area_mm2, cable.conductor, cable.temperature_c);
            cable.drop_v = cable.current_a * *cable.resistance_ohm;
        }
    }
    if (cable.fuse_area_mm2) {
        const double least = std::max(*cable.fuse_area_mm2, cable.drop_area_mm2.value_or(0.0));
        for (const CableSize& size : cable_sizes()) {
            const auto rating = largest_fuse(size.area_mm2, cable.conductor);
            if (size.area_mm2 < least * (1 - 1e-9) || !rating || rating->fuse_a < *wanted_fuse_a) continue;
            cable.smallest = size;
            break;
        }
    }
    if (!wanted_fuse_a || (!cable.smallest && !cable.area_mm2))
        cable.verdict = CableVerdict::beyond_tables;
    else if (!cable.area_mm2)
        cable.verdict = CableVerdict::not_stated;
    else if (!cable.carries && cable.fuse_area_mm2 && *cable.fuse_area_mm2 <= gauge_area_mm2(kThinnestRated_awg))
        cable.verdict = CableVerdict::beyond_tables;  // a thinner one than the table's may do
    else if (!cable.carries || cable.carries->fuse_a < *wanted_fuse_a)
        cable.verdict = CableVerdict::too_thin;
    else if (cable.drop_v && *cable.drop_v > allowed_drop_v)
        cable.verdict = CableVerdict::drops_too_much;
    else
        cable.verdict = CableVerdict::fits;
}

bool thinner_than_table(const PowerCable& cable) {
    return cable.area_mm2 && !cable.carries;
}

void note_table(PowerCable& cable) {
    if (cable.carries && cable.carries->between_rows)
        cable.notes.push_back(fmt::format("the table of largest fuses has no row for {:.3g} mm2: the row of {:.3g} mm2 holds, {:.0f} A",
                                          *cable.area_mm2, cable.carries->row_area_mm2, cable.carries->fuse_a));
    if (thinner_than_table(cable))
        cable.notes.push_back(fmt::format("{:.3g} mm2: the table of largest fuses begins at {} ({:.3g} mm2){}", *cable.area_mm2,
                                          gauge_name(kThinnestRated_awg), gauge_area_mm2(kThinnestRated_awg),
                                          cable.verdict == CableVerdict::beyond_tables ? "; go by the cable maker's figure" : ""));
    if (cable.conductor == Conductor::copper_clad_aluminium)
        cable.notes.emplace_back(
            "copper-clad aluminium: 63 % of copper's conductance, so it carries four fifths of the current "
            "for the same heat");
}

PowerCable cable_of(const Job& job, std::string part, double current_a) {
    PowerCable cable;
    cable.part = std::move(part);
    cable.conductor = job.supply.conductor.value_or(Conductor::copper);
    cable.temperature_c = job.supply.temperature_c.value_or(kUsualTemperature_c);
    cable.current_a = current_a;
    return cable;
}

void choose_main_fuse(const PowerCable& feed, PowerAnalysis& out) {
    const auto wanted = fuse_for(*out.total_a);
    if (!wanted) {
        out.fuse_reason = "beyond_tables";
        out.fuse_text = fmt::format("{:.0f} A together is more than the largest fuse of the tables ({:g} A): part the feed into two, each with a "
                                    "fuse and a cable of its own.",
                                    *out.total_a, fuse_ratings_a().back());
        return;
    }
    const std::string sum = fmt::format("{:.0f} A together ask for a {:g} A fuse", *out.total_a, *wanted);
    if (feed.verdict == CableVerdict::too_thin) {
        out.fuse_reason = "cable_too_thin";
        const std::string carries = feed.carries ? fmt::format("stands behind {:.0f} A at most", feed.carries->fuse_a)
                                                 : "is thinner than any that the table lets stand behind a main fuse";
        out.fuse_text = fmt::format("{}, but the cable {}: a thicker cable is the answer, not a larger fuse{}.", sum, carries,
                                    feed.smallest ? fmt::format(" ({} or more)", feed.smallest->name()) : " (two in parallel, each fused)");
        return;
    }
    if (feed.verdict == CableVerdict::beyond_tables && thinner_than_table(feed)) {
        out.fuse_reason = "beyond_tables";
        out.fuse_text = fmt::format("{}, but the cable is thinner than the table of largest fuses begins with ({}): go by the cable maker's "
                                    "figure{}. It needs a fuse all the same.",
                                    sum, gauge_name(kThinnestRated_awg), feed.smallest ? ", or take " + feed.smallest->name() + " or more" : "");
        return;
    }
    if (feed.verdict == CableVerdict::beyond_tables) {
        out.fuse_reason = "beyond_tables";
        out.fuse_text = fmt::format("{}, for which the tables have no single cable: part the feed into two, each with a fuse and a cable of its "
                                    "own, or go by the maker's figures.",
                                    sum);
        return;
    }
    out.fuse_a = *wanted;
    out.fuse_text = fmt::format("{}, as close to the battery as can be: 30 cm of cable before it at most is a good rule.", sum);
    if (feed.verdict == CableVerdict::not_stated && feed.smallest)
        out.fuse_text += fmt::format(" It needs a cable of {} or more.", feed.smallest->name());
}

/// Of a branch that feeds an amplifier that which counts in the sum.
std::optional<double> current_of(const Job& job, const SupplyBranch& branch, const PowerAnalysis& out) {
    if (amplifiers_named(job, branch.name) == 0) return branch.current_a.value_or(0.0) > 0 ? branch.current_a : std::nullopt;
    for (const PowerDraw& draw : out.draws)
        if (draw.name == branch.name) return draw.current_a;
    return std::nullopt;
}

void note_fuse(PowerCable& cable, std::optional<double> wanted) {
    if (cable.verdict == CableVerdict::too_thin)
        cable.notes.push_back(fmt::format("{:.0f} A ask for a {:g} A fuse, more than this cable may stand behind: take {}", cable.current_a, *wanted,
                                          cable.smallest ? cable.smallest->name() + " or more" : "two cables, each fused"));
    else if (cable.verdict == CableVerdict::beyond_tables && wanted && thinner_than_table(cable))
        cable.notes.push_back(fmt::format("it needs a fuse of its own at the block all the same, for the main fuse would let it burn: {:g} A for its "
                                          "current, but no larger than the cable's maker allows",
                                          *wanted));
    else if (cable.needs_fuse)
        cable.notes.emplace_back("a fuse of its own at the block: the main fuse would let it burn");
    else
        cable.notes.emplace_back("as thick as the main fuse asks for: the main fuse protects it too");
}

/// The feed's drop and the branch's share what is allowed.
void note_drop(PowerCable& cable, const PowerAnalysis& out) {
    const double feed_v = out.drop_v.value_or(0.0);
    const bool feed_alone = feed_v >= out.allowed_drop_v;
    const bool no_size = cable.drop_area_mm2 && cable.fuse_area_mm2 && !cable.smallest;
    const std::string buy = feed_alone || no_size ? "a thicker feed comes first"
                            : cable.smallest      ? fmt::format("take {} or more, or a thicker feed", cable.smallest->name())
                                                  : "take a thicker one, or a thicker feed";
    if (cable.drop_v && feed_v + *cable.drop_v > out.allowed_drop_v)
        cable.notes.push_back(fmt::format("{:.2f} V along it and {:.2f} V along the feed make {:.2f} V, where {:g} V are allowed: {}", *cable.drop_v,
                                          feed_v, feed_v + *cable.drop_v, out.allowed_drop_v, buy));
    else if (!cable.area_mm2 && (feed_alone || no_size))
        cable.notes.push_back(fmt::format("the feed loses {:.2f} V of the {:g} V allowed, which leaves too little for a branch: {}", feed_v,
                                          out.allowed_drop_v, buy));
    if (cable.length_m && *cable.length_m > 0 && !out.drop_v)
        cable.notes.emplace_back("the feed's drop isn't known: it comes on top of this one's");
}

/// Behind a distribution block every cable that the main fuse doesn't protect gets a fuse of its own.
void size_branch(const Job& job, std::size_t index, PowerAnalysis& out) {
    const SupplyBranch& branch = job.supply.branches[index];
    const std::string name = shown_name(branch, index);
    const auto current = current_of(job, branch, out);
    if (!current) {
        out.warnings.push_back({"branch_current_unknown",
                                fmt::format("branch {}: no current is given and no amplifier of that name has one; it isn't sized, and is left "
                                            "out of the sum",
                                            name),
                                std::nullopt});
        return;
    }
    PowerCable cable = cable_of(job, "branch " + name, *current);
    cable.length_m = branch.length_m;
    cable.area_mm2 = branch.area_mm2;
    const auto wanted = fuse_for(*current);
    hold_against(cable, wanted, out.allowed_drop_v - out.drop_v.value_or(0.0));
    if (cable.verdict == CableVerdict::drops_too_much && out.drop_v.value_or(0.0) >= out.allowed_drop_v) cable.smallest.reset();  // none helps
    if (cable.drop_v && out.drop_v) cable.with_feed_v = *cable.drop_v + *out.drop_v;
    const auto main = fuse_for(std::max(*current, out.total_a.value_or(*current)));
    cable.needs_fuse = !cable.carries || !main || cable.carries->fuse_a < *main;
    if (cable.needs_fuse && wanted && cable.verdict != CableVerdict::too_thin && cable.verdict != CableVerdict::beyond_tables)
        cable.fuse_a = wanted;
    for (const PowerDraw& draw : out.draws)
        if (draw.name == branch.name && !draw.note.empty() && branch.current_a && draw.current_a != *branch.current_a)
            cable.notes.push_back(draw.note);
    note_fuse(cable, wanted);
    note_drop(cable, out);
    note_table(cable);
    out.cables.push_back(std::move(cable));
}

void reckon_reserve(const Job& job, PowerAnalysis& out) {
    const auto rated = job.vehicle.alternator.rated_a;
    if (!rated || !(*rated > 0) || !out.total_a) return;
    AlternatorReserve reserve;
    reserve.rated_a = *rated;
    reserve.music_a = kMusicShare * *out.total_a;
    reserve.vehicle_a = kVehicleShare * *rated;
    reserve.reserve_a = *rated - reserve.vehicle_a - reserve.music_a;
    reserve.idle_reserve_a = kIdleShare * *rated - reserve.vehicle_a - reserve.music_a;
    out.reserve = reserve;
    out.assumptions.emplace_back(
        "alternator: music draws a third of the largest current on average, the vehicle itself uses four "
        "tenths of the rating, and at idle the "
        "alternator gives half of it (common practice, no source)");
}

}  // namespace

void size_supply(const Job& job, PowerAnalysis& out) {
    check_names(job, out.warnings);
    out.draws = draws_of(job, out.warnings);
    double total = 0;
    for (const PowerDraw& draw : out.draws) total += draw.current_a;
    if (std::any_of(out.draws.begin(), out.draws.end(), [](const PowerDraw& draw) { return draw.estimated; }))
        out.assumptions.push_back(fmt::format("an amplifier without a largest current is reckoned at twice its power over {:g} V (half of what it "
                                              "takes up becomes sound: common practice, no source); its own fuses tell better",
                                              charging_v(job)));
    out.allowed_drop_assumed = !job.supply.allowed_drop_v;
    out.allowed_drop_v = job.supply.allowed_drop_v.value_or(kUsualDropShare * job.vehicle.supply_v.value_or(12.0));
    out.temperature_assumed = !job.supply.temperature_c;
    if (out.allowed_drop_assumed)
        out.assumptions.push_back(fmt::format("{:g} V may be lost along feed and branch together (common practice, no source)", out.allowed_drop_v));
    if (out.temperature_assumed)
        out.assumptions.emplace_back("the cable is at 60 C (common practice, no source)");
    if (!job.supply.conductor)
        out.assumptions.emplace_back("the cable is copper: cheap ones often are not, look at a cut end");
    if (!(total > 0)) {
        out.fuse_reason = "draw_unknown";
        out.fuse_text = "Nothing says what the amplifiers draw: no fuse and no cable can be named.";
        return;
    }
    out.total_a = total;

    PowerCable feed = cable_of(job, "feed", total);
    feed.length_m = job.supply.length_m;
    feed.area_mm2 = job.supply.area_mm2;
    const auto wanted = fuse_for(total);
    hold_against(feed, wanted, out.allowed_drop_v);
    feed.needs_fuse = true;
    choose_main_fuse(feed, out);
    feed.fuse_a = out.fuse_a;
    out.drop_v = feed.drop_v;
    if (feed.drop_v && *feed.drop_v > out.allowed_drop_v && feed.verdict != CableVerdict::too_thin)
        feed.notes.push_back(fmt::format("it {}loses {:.2f} V where {:g} V are allowed: take {}",
                                         feed.verdict == CableVerdict::drops_too_much ? "carries its fuse, but " : "", *feed.drop_v,
                                         out.allowed_drop_v, feed.smallest ? feed.smallest->name() + " or more" : "two in parallel"));
    if (!feed.length_m) feed.notes.emplace_back("its length isn't known: the drop isn't reckoned");
    note_table(feed);

    PowerCable ground = cable_of(job, "ground", total);
    ground.area_mm2 = feed.area_mm2;
    hold_against(ground, wanted, out.allowed_drop_v);
    ground.notes.emplace_back(
        "the return carries the same current: as thick as the feed, short (45 cm is a usual limit), to bare, "
        "scraped body metal");
    ground.notes.emplace_back(
        "its drop adds to the feed's and is told apart: read it with a meter under load (observation "
        "ground_drop)");
    out.cables.push_back(std::move(feed));
    out.cables.push_back(std::move(ground));
    for (std::size_t i = 0; i < job.supply.branches.size(); ++i) size_branch(job, i, out);
    reckon_reserve(job, out);
}

}  // namespace hushtrace
