#include "hushtrace/job/job_check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <set>
#include <system_error>

#include "hushtrace/job/rpm_log.hpp"
#include "hushtrace/job/spelling.hpp"

namespace hushtrace {
namespace {

namespace fs = std::filesystem;

class Check {
public:
    explicit Check(const OpenedJob& opened) : opened_(opened), job_(opened.job) {}

    std::vector<Warning> run() {
        files();
        contradictions();
        before_the_first_lead();
        for_volts();
        for_noise();
        for_gain();
        return std::move(found_);
    }

private:
    void note(const char* code, std::string text, std::optional<std::string> take = {}) {
        found_.push_back({code, std::move(text), std::move(take)});
    }

    bool there(const std::string& file) const {
        std::error_code fault;
        return fs::is_regular_file(opened_.folder / file, fault);
    }

    void files() {
        std::set<std::string> listed;
        for (const Take& take : job_.takes) {
            listed.insert(fs::path(take.file).lexically_normal().string());
            if (!there(take.file))
                note("take_missing", fmt::format("{}: the sound file is missing", in_quotes(take.file)),
                     take.file);
            if (take.rpm_log && !there(*take.rpm_log))
                note("rpm_log_missing",
                     fmt::format("{}: the engine speed log is missing", in_quotes(*take.rpm_log)), take.file);
            else if (take.rpm_log)
                unusable_log(take);
        }
        static const std::set<std::string> sounds = {".flac", ".wav", ".aiff", ".aif",
                                                     ".ogg",  ".w64", ".caf"};
        std::vector<std::string> strangers;
        std::error_code fault;
        for (auto entry = fs::directory_iterator(opened_.folder / "takes", fault);
             !fault && entry != fs::directory_iterator(); entry.increment(fault)) {
            const std::string name = "takes/" + entry->path().filename().string();
            if (sounds.count(entry->path().extension().string()) != 0 && listed.count(name) == 0)
                strangers.push_back(name);
        }
        std::sort(strangers.begin(), strangers.end());
        for (const std::string& name : strangers)
            note("take_not_listed",
                 fmt::format("{}: lies there, but is no take of this job", in_quotes(name)));
    }

    void unusable_log(const Take& take) {
        std::vector<Warning> said;
        rpm_log_of(opened_, take, said);
        for (Warning& one : said)
            if (one.code == "rpm_log_unusable") found_.push_back(std::move(one));
    }

    void contradictions() {
        for (const SpeakerData& speaker : job_.speakers) {
            const bool known =
                std::any_of(job_.amplifiers.begin(), job_.amplifiers.end(),
                            [&](const AmplifierData& one) { return one.name == speaker.amplifier; });
            if (!speaker.amplifier.empty() && !known)
                note("amplifier_unknown",
                     fmt::format("a speaker hangs on the amplifier {}, which the job doesn't have",
                                 in_quotes(speaker.amplifier)));
        }
        for (const Take& take : job_.takes) known_amplifier(take.conditions, in_quotes(take.file), take.file);
        for (const Observation& seen : job_.observations) known_amplifier(seen.conditions, "observation " + seen.what, std::nullopt);
        for (auto one = job_.amplifiers.begin(); one != job_.amplifiers.end(); ++one)
            if (std::any_of(job_.amplifiers.begin(), one, [&](const AmplifierData& other) { return other.name == one->name; }))
                note("amplifier_unknown", fmt::format("two amplifiers have the name {}: give each its own", in_quotes(one->name)));
        for (const Take& take : job_.takes) {
            const Conditions& now = take.conditions;
            if (now.rpm.value_or(0) > 0 && !engine_turns(now.engine) && now.engine != Engine::ready)
                note("conditions_contrary",
                     fmt::format("{}: {} rpm with the engine '{}'", in_quotes(take.file), *now.rpm,
                                 to_word(now.engine)),
                     take.file);
        }
    }

    void known_amplifier(const Conditions& conditions, const std::string& where, std::optional<std::string> take) {
        if (!conditions.at_amplifier) return;
        if (std::none_of(job_.amplifiers.begin(), job_.amplifiers.end(),
                         [&](const AmplifierData& one) { return one.name == *conditions.at_amplifier; }))
            note("amplifier_unknown",
                 fmt::format("{}: at the amplifier {}, which the job doesn't have", where, in_quotes(*conditions.at_amplifier)),
                 std::move(take));
    }

    bool observed(const char* what) const {
        return std::any_of(job_.observations.begin(), job_.observations.end(),
                           [&](const Observation& one) { return one.what == what; });
    }
    void before_the_first_lead() {
        if (!observed("shell_to_amplifier_ground"))
            note("before_leads",
                 "before the first lead goes on: measure the volts from lead shell to amplifier ground, "
                 "amplifier off");
        if (!observed("ground_drop"))
            note("before_leads",
                 "before the first lead goes on: measure the ground drop, amplifier and loads on, signal "
                 "leads out");
    }

    bool calibrated() const {
        const auto& volts = job_.interface.volts_full_scale;
        return std::any_of(volts.begin(), volts.end(), [](const auto& one) { return one.has_value(); });
    }
    void for_volts() {
        if (!calibrated())
            note("for_volts", "for readings in volts: calibrate the interface (hushtrace calibrate)");
        else if (job_.interface.own_noise_dbv.empty())
            note("for_volts",
                 "to know the set-up's own floor: a take with --hookup inputs_shorted, then hushtrace "
                 "calibrate --floor");
        if (!job_.interface.input)
            note("for_volts",
                 "whether the interface's input is grounded, floating or differential is not stated");
    }

    bool any_take(bool (*fits)(const Take&)) const {
        return std::any_of(job_.takes.begin(), job_.takes.end(), fits);
    }
    void for_noise() {
        const auto quiet = [](const Take& take) { return take.volume_steps.empty(); };
        const bool off = any_take([](const Take& take) {
            return take.volume_steps.empty() && !engine_turns(take.conditions.engine);
        });
        const bool running = any_take([](const Take& take) {
            return take.volume_steps.empty() && engine_turns(take.conditions.engine);
        });
        const bool turns = job_.vehicle.drive != Drive::electric;
        if (!any_take(quiet)) {
            note("for_noise", "for noise: a take of 10 s or more, nothing playing");
        } else if (turns && !off) {
            note("for_noise", "for noise: a take with the engine off, to compare with");
        }
        if (turns && !running) note("for_noise", "for noise: a take with the engine running");
        if (turns && !job_.vehicle.cylinders)
            note("for_noise",
                 "the number of cylinders is not stated: ignition noise can't be told by its rate");
        if (!job_.vehicle.mains_hz) note("for_noise", "the mains frequency is not stated (50 or 60 Hz)");
    }

    void for_gain() {
        if (!any_take([](const Take& take) { return !take.volume_steps.empty(); }))
            note("for_gain", "for gain: a take in which the volume is stepped while a full-scale sine plays");
        if (job_.amplifiers.empty()) note("for_gain", "for gain: the amplifiers' power and load");
        for (const AmplifierData& amplifier : job_.amplifiers)
            if (!amplifier.power_w || !amplifier.load_ohm)
                note("for_gain", fmt::format("for gain: {} of the amplifier {}",
                                             amplifier.power_w ? "the load [ohm]" : "the power [W]",
                                             in_quotes(amplifier.name)));
        for (const AmplifierData& amplifier : job_.amplifiers)
            if (job_.source.output == OutputKind::speaker && amplifier.input == OutputKind::line && !amplifier.converter)
                note("for_gain",
                     fmt::format("the source's output is at speaker level, and the amplifier {} has a line input: say what brings it down "
                                 "(--converter), or use its high-level input (input=speaker)",
                                 in_quotes(amplifier.name)));
    }

    const OpenedJob& opened_;
    const Job& job_;
    std::vector<Warning> found_;
};

}  // namespace

std::vector<Warning> check_job(const OpenedJob& opened) {
    return Check(opened).run();
}

}  // namespace hushtrace
