#include "follow_target.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <cmath>
#include <random>
#include <string_view>
#include <system_error>

#include "hushtrace/diagnose/noise_analysis.hpp"
#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/measure/click_follower.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"

namespace hushtrace {
namespace {

struct KindWord {
    std::string_view word;
    NoiseKind kind;
};
constexpr std::array<KindWord, 13> kWords = {{{"whine", NoiseKind::alternator_whine},
                                              {"alternator", NoiseKind::alternator_whine},
                                              {"hum", NoiseKind::mains_hum},
                                              {"mains", NoiseKind::mains_hum},
                                              {"ignition", NoiseKind::ignition_tick},
                                              {"tick", NoiseKind::periodic_tick},
                                              {"hiss", NoiseKind::hiss},
                                              {"motor", NoiseKind::motor_whine},
                                              {"pwm", NoiseKind::switched_load},
                                              {"phone", NoiseKind::phone_burst},
                                              {"bus", NoiseKind::bus_tone},
                                              {"converter", NoiseKind::converter_hash},
                                              {"tone", NoiseKind::unexplained_tone}}};

[[noreturn]] void refuse(const std::string& why) { throw Error(ErrorKind::invalid_request, why); }

std::optional<double> number_of(std::string_view text) {
    double value = 0;
    const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (fault != std::errc() || end != text.data() + text.size() || !std::isfinite(value)) return std::nullopt;
    return value;
}

FollowTarget one_line(std::string name, double frequency_hz, const FollowWish& wish) {
    if (!(frequency_hz >= 20.0) || frequency_hz > 0.4 * wish.sample_rate_hz)
        refuse(fmt::format("--follow {}: a line can be followed from 20 Hz to {:.0f} Hz", wish.what, 0.4 * wish.sample_rate_hz));
    FollowTarget target;
    target.name = std::move(name);
    target.how = LineFamily{frequency_hz, {1.0}, 0.94 * frequency_hz, 1.06 * frequency_hz, frequency_hz > 150.0, 0.3};
    return target;
}

FollowTarget mains(const FollowWish& wish) {
    const double hz = wish.job.vehicle.mains_hz.value_or(50.0);
    FollowTarget target{fmt::format("mains hum ({:.0f} Hz)", hz), NoiseKind::mains_hum, {}, false};
    LineFamily family{hz, {}, 0.994 * hz, 1.006 * hz, false, 1.0};
    for (int n = 1; n <= 12; ++n) family.ratios.push_back(n);
    target.how = family;
    return target;
}

FollowAim aim_at(NoiseKind kind, const FollowWish& wish) {
    FollowAim aim;
    if (kind == NoiseKind::hiss) aim.target = FollowTarget{"hiss", kind, FollowedBand::hiss, false};
    else if (kind == NoiseKind::ignition_tick || kind == NoiseKind::periodic_tick || kind == NoiseKind::crackle)
        aim.target = FollowTarget{fmt::format("{} (above 2 kHz)", plain_name(kind)), kind, Clicks{}, false};
    else aim.kind = kind;
    if (kind == NoiseKind::mains_hum) {
        aim.target = mains(wish);
        aim.sharpens = true;
    }
    return aim;
}

FollowAim aim_at_id(const FollowWish& wish) {
    std::string known;
    OpenedJob opened = open_job(wish.job_folder);
    if (opened.job.takes.empty())
        refuse(fmt::format("--follow {}: the job has no takes yet that could show it; say whine, hum, ignition, hiss or a frequency", wish.what));
    const NoiseAnalysis analysis = analyse_noise(opened);
    const NoiseSource* found = nullptr;
    for (const NoiseSource& source : analysis.noise_sources) {
        known += (known.empty() ? "" : ", ") + source.id;
        const bool ends_alike = source.id.size() > wish.what.size() && source.id.ends_with("_" + wish.what);
        if (source.id == wish.what || (ends_alike && !found)) found = &source;
    }
    if (!found) refuse(fmt::format("--follow {}: the job's takes show {}", wish.what, known.empty() ? "no noise source" : known));
    FollowAim aim;
    aim.target = target_of(*found, wish.sample_rate_hz);
    if (!aim.target) refuse(fmt::format("--follow {}: {} has no level that could be followed", wish.what, plain_name(found->kind)));
    aim.kind = found->kind;
    aim.sharpens = true;
    return aim;
}

/// Removes what it made.
class PassingFolder {
public:
    PassingFolder() {
        std::random_device random;
        std::error_code fault;
        for (int tries = 0; tries < 100; ++tries) {
            path_ = std::filesystem::temp_directory_path() / fmt::format("hushtrace-live-{:08x}{:08x}", random(), random());
            if (!std::filesystem::create_directory(path_, fault)) continue;   // the name is taken, or no folder can be made
            std::filesystem::permissions(path_, std::filesystem::perms::owner_all, fault);
            return;
        }
        throw Error(ErrorKind::file_unwritable, "no folder for passing files can be made");
    }
    ~PassingFolder() {
        std::error_code ignored;
        std::filesystem::remove_all(path_, ignored);
    }
    PassingFolder(const PassingFolder&) = delete;
    PassingFolder& operator=(const PassingFolder&) = delete;
    const std::filesystem::path& path() const { return path_; }

private:
    std::filesystem::path path_;
};

NoiseAnalysis analyse(const FollowWish& wish, const Block& sound) {
    const PassingFolder top;
    const auto folder = top.path() / "job";
    Job job = wish.job;
    job.observations.clear();
    Take take = wish.take;
    take.file = "takes/now.wav";
    take.tone.reset();
    take.rpm_log.reset();
    take.marks.clear();
    take.faults.clear();
    job.takes = {take};
    create_job(folder, job);
    TakeWriter writer(folder / take.file, wish.sample_rate_hz, sound.channels());
    writer.write(sound);
    writer.close();
    return analyse_noise(open_job(folder));
}

bool goes_with_engine(NoiseKind kind) { return kind == NoiseKind::alternator_whine; }

}  // namespace

FollowAim read_aim(const FollowWish& wish) {
    std::string what = wish.what;
    std::transform(what.begin(), what.end(), what.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    if (what.empty() || what == "loudest") return {std::nullopt, std::nullopt, true, false};
    if (what == "all") return {FollowTarget{"all sound", std::nullopt, FollowedBand::everything, false}, std::nullopt, false, false};
    if (what == "hiss-a") return {FollowTarget{"hiss, A-weighted", NoiseKind::hiss, FollowedBand::hiss_a, false}, std::nullopt, false, false};
    for (const KindWord& one : kWords)
        if (what == one.word || what == to_word(one.kind)) return aim_at(one.kind, wish);
    if (what == to_word(NoiseKind::crackle)) return aim_at(NoiseKind::crackle, wish);
    std::string_view digits = what;
    if (digits.ends_with("hz")) digits.remove_suffix(2);
    if (const auto hz = number_of(digits)) return {one_line(fmt::format("{:.0f} Hz", *hz), *hz, wish), std::nullopt, false, false};
    if (what.starts_with("order")) {
        const auto order = number_of(std::string_view(what).substr(5));
        if (!order || *order <= 0.0) refuse(fmt::format("--follow {}: an engine order is written order12 or order2.5", wish.what));
        const auto rpm = wish.take.conditions.rpm;
        if (!rpm || !(*rpm > 0.0)) refuse(fmt::format("--follow {}: say the engine's speed now, too: --rpm 800", wish.what));
        FollowTarget target = one_line(fmt::format("engine order {:g}", *order), *order * *rpm / 60.0, wish);
        target.with_engine = true;
        auto& family = std::get<LineFamily>(target.how);
        family.low_hz = 0.5 * family.frequency_hz;
        family.high_hz = std::min(5.5 * family.frequency_hz, 0.44 * wish.sample_rate_hz);
        family.moves = true;
        family.most_slope = 1.0;
        return {std::move(target), std::nullopt, false, false};
    }
    const auto dash = what.rfind('-');
    if (dash != std::string::npos && dash + 1 < what.size() && std::isdigit(static_cast<unsigned char>(what[dash + 1]))) {
        FollowWish by_id = wish;
        by_id.what = what;
        return aim_at_id(by_id);
    }
    refuse(fmt::format("--follow {}: say whine, hum, ignition, hiss, motor, pwm, all, a frequency (1187hz), an engine order (order12) "
                       "or a source's id from 'noise' (alternator_whine-1)", wish.what));
}

std::optional<FollowTarget> target_of(const NoiseSource& source, double sample_rate_hz) {
    FollowTarget target;
    target.name = plain_name(source.kind);
    target.kind = source.kind;
    switch (source.kind) {
        case NoiseKind::clipping:
        case NoiseKind::heard_only: return std::nullopt;
        case NoiseKind::hiss: target.how = FollowedBand::hiss; return target;
        case NoiseKind::ignition_tick:
        case NoiseKind::periodic_tick:
        case NoiseKind::crackle:
            target.name += " (above 2 kHz)";
            target.how = Clicks{};
            return target;
        default: break;
    }
    if (!source.frequency_hz || !(*source.frequency_hz > 0.0)) return std::nullopt;
    const Harmonic* leading = nullptr;
    for (const Harmonic& one : source.harmonics)
        if (!leading || one.level_dbfs > leading->level_dbfs) leading = &one;
    LineFamily family;
    family.frequency_hz = leading ? leading->frequency_hz : *source.frequency_hz;
    if (!(family.frequency_hz > 0.0) || family.frequency_hz > 0.4 * sample_rate_hz) return std::nullopt;
    constexpr double faint_db = 20.0;   // lines further down add less than 1 % to the power
    for (const Harmonic& one : source.harmonics)
        if (&one != leading && one.level_dbfs > leading->level_dbfs - faint_db && one.frequency_hz > 0.0 && family.ratios.size() < 12)
            family.ratios.push_back(leading ? one.number / leading->number : 1.0);
    const auto range = [&](double below, double above, bool moves, double slope) {
        family.low_hz = below * family.frequency_hz;
        family.high_hz = std::min(above * family.frequency_hz, 0.44 * sample_rate_hz);
        family.moves = moves;
        family.most_slope = slope;
    };
    switch (source.kind) {
        case NoiseKind::alternator_whine: range(0.45, 5.5, true, 1.0); break;
        case NoiseKind::motor_whine: range(0.7, 1.4, true, 0.5); break;
        case NoiseKind::unexplained_tone:
        case NoiseKind::converter_hash: range(0.93, 1.07, true, 0.2); break;
        default: range(0.994, 1.006, false, 1.0);
    }
    target.with_engine = goes_with_engine(source.kind);
    target.how = family;
    return target;
}

std::unique_ptr<PowerFollower> FollowTarget::follower(double sample_rate_hz, std::size_t channels) const {
    if (const auto* family = std::get_if<LineFamily>(&how)) return std::make_unique<LineFollower>(sample_rate_hz, channels, *family);
    if (const auto* band = std::get_if<FollowedBand>(&how)) return std::make_unique<BandFollower>(sample_rate_hz, channels, *band);
    return std::make_unique<ClickFollower>(sample_rate_hz, channels);
}

std::optional<FollowTarget> find_target(const FollowAim& aim, const FollowWish& wish, const Block& sound) {
    std::optional<FollowTarget> best, hiss;
    try {
        for (const NoiseSource& source : analyse(wish, sound).noise_sources) {   // loudest first
            if (aim.kind && source.kind != *aim.kind) continue;
            auto target = target_of(source, wish.sample_rate_hz);
            if (!target) continue;
            if (aim.loudest && source.kind == NoiseKind::hiss) hiss = std::move(target);   // everything hisses
            else if (!best) best = std::move(target);
        }
    } catch (const std::exception&) {   // too short, music, silence, no place for passing files: nothing was found in it
        return std::nullopt;
    }
    return best ? std::move(best) : std::move(hiss);
}

}  // namespace hushtrace
