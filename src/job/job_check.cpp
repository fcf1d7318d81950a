#include "hushtrace/job/job_check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <set>
#include <system_error>
#include <variant>

#include "hushtrace/job/ground_reading.hpp"
#include "hushtrace/job/rpm_log.hpp"
#include "hushtrace/job/shell_word.hpp"
#include "hushtrace/job/spelling.hpp"
#include "hushtrace/job/temporary_items.hpp"

namespace hushtrace {
namespace {

namespace fs = std::filesystem;

class Check {
public:
    explicit Check(const OpenedJob& opened) : opened_(opened), job_(opened.job) {}

    std::vector<OpenPoint> run() {
        stops();
        files();
        contradictions();
        before_the_first_lead();
        for_volts();
        for_noise();
        for_gain();
        for_chain();
        for_power();
        still_in();
        return std::move(found_);
    }

private:
    void note(const char* code, std::string text, std::optional<std::string> take = {}, std::vector<std::string> make = {}) {
        found_.push_back({{code, std::move(text), std::move(take)}, std::move(make)});
    }
    /// "hushtrace capture --job van" and what follows.
    std::string command(const char* name, const std::string& rest) const {
        return fmt::format("hushtrace {} --job {} {}", name, shell_word(opened_.folder.string()), rest);
    }
    /// The volume at which the other takes of noise were made, so that they can be held against each other.
    std::string usual_volume() const {
        for (const Take& take : job_.takes)
            if (take.conditions.volume && take.volume_steps.empty()) return fmt::format(" --source on --volume {}", *take.conditions.volume);
        return " --source on --volume VOLUME";
    }

    bool there(const std::string& file) const {
        std::error_code fault;
        return fs::is_regular_file(opened_.folder / file, fault);
    }

    void files() {
        std::set<std::string> listed;
        for (const Take& take : job_.takes) {
            listed.insert(fs::path(take.file).lexically_normal().generic_string());
            if (!there(take.file))
                note("take_missing", fmt::format("{}: the sound file is missing; put it back, or take the entry out", in_quotes(take.file)),
                     take.file, {command("job", "--withdraw " + shell_word(take.file))});
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
        left_over();
        std::sort(strangers.begin(), strangers.end());
        for (const std::string& name : strangers)
            note("take_not_listed", fmt::format("{}: lies there, but is no take of this job; bring it in, or delete it", in_quotes(name)), {},
                 {command("job", "--add " + shell_word((opened_.folder / name).string()) + " --engine ENGINE"),
                  "rm " + shell_word((opened_.folder / name).string())});
    }

    /// What a write that was killed leaves beside its place. Hidden, so that nobody would find it.
    void left_over() {
        for (const char* const part : {"takes", "records"}) {
            std::vector<std::string> names;
            std::error_code fault;
            for (auto entry = fs::recursive_directory_iterator(opened_.folder / part, fault);
                 !fault && entry != fs::recursive_directory_iterator(); entry.increment(fault)) {
                if (entry.depth() > 0) entry.disable_recursion_pending();  // a record's own folders lie no deeper
                const std::string name = entry->path().filename().string();
                if (name.front() == '.' && entry->path().extension() == ".new")
                    names.push_back(part + ("/" + fs::path(entry->path()).lexically_relative(opened_.folder / part).generic_string()));
            }
            std::sort(names.begin(), names.end());
            for (const std::string& name : names)
                note("left_over", fmt::format("{}: still being written, or left over from a write that broke off; then delete it", in_quotes(name)),
                     {}, {"rm " + shell_word((opened_.folder / name).string())});
        }
    }

    void unusable_log(const Take& take) {
        std::vector<Warning> said;
        rpm_log_of(opened_, take, said);
        for (Warning& one : said)
            if (one.code == "rpm_log_unusable") found_.push_back({std::move(one), {}});
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
    /// By the last observation of each kind, as long as nothing better was read since.
    void stops() {
        for (const std::string_view what : {shell_reading, drop_reading, std::string_view("amplifier_wakes")}) {
            const Observation* last = nullptr;
            for (const Observation& one : job_.observations)
                if (one.what == what && (one.value || one.heard)) last = &one;
            if (!last) continue;
            if (const auto why = stop_reason(*last))
                note("stop", "STOP: " + *why, {}, {command("job", fmt::format("--observe {}={}", what, last->heard ? "by_itself" : "VOLTS"))});
        }
    }

    void before_the_first_lead() {
        if (!observed("shell_to_amplifier_ground"))
            note("before_leads",
                 "before the first lead goes on: measure the volts from lead shell to amplifier ground, "
                 "amplifier off",
                 {}, {command("job", "--observe shell_to_amplifier_ground=VOLTS --amplifier off")});
        if (!observed("ground_drop"))
            note("before_leads",
                 "before the first lead goes on: measure the ground drop, amplifier and loads on, signal "
                 "leads out",
                 {}, {command("job", "--observe ground_drop=VOLTS --amplifier on --loads LOADS")});
    }

    bool calibrated() const {
        const auto& volts = job_.interface.volts_full_scale;
        return std::any_of(volts.begin(), volts.end(), [](const auto& one) { return one.has_value(); });
    }
    /// Makes a tone for the source's stick, then a take of it.
    std::vector<std::string> play(const std::string& file, const std::string& tone, const std::string& length, const std::string& more) const {
        return {fmt::format("hushtrace tones {}{} --out {}", tone, length, file),
                command("capture", fmt::format("--engine off --tone {} --via stick --played {}{}", tone, file, more))};
    }
    void for_volts() {
        const auto shorted = std::find_if(job_.takes.begin(), job_.takes.end(),
                                          [](const Take& one) { return one.conditions.has(Hookup::inputs_shorted); });
        const auto low_tone = std::find_if(job_.takes.begin(), job_.takes.end(), [](const Take& one) {
            const auto* sine = one.tone ? std::get_if<Sine>(&one.tone->waveform) : nullptr;
            return sine && sine->frequency_hz <= 400 && one.volume_steps.empty();
        });
        if (!calibrated())
            note("for_volts", "for readings in volts: calibrate the interface (hushtrace calibrate)", {},
                 low_tone != job_.takes.end()
                     ? std::vector{command("calibrate", fmt::format("--take {} --volts READING", shell_word(low_tone->file)))}
                     : play("tone_200.wav", "sine --frequency 200 --level -10", " --duration 8", " --volume VOLUME"));
        else if (job_.interface.own_noise_dbv.empty())
            note("for_volts",
                 "to know the set-up's own floor: a take with --hookup inputs_shorted, then hushtrace "
                 "calibrate --floor",
                 {},
                 {shorted != job_.takes.end() ? command("calibrate", "--floor " + shell_word(shorted->file))
                                              : command("capture", "--hookup inputs_shorted --engine off --seconds 10")});
        if (!job_.interface.input)
            note("for_volts", "whether the interface's input is grounded, floating or differential is not stated", {},
                 {command("job", "--interface-input KIND")});
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
        const std::string as_usual = usual_volume() + " --seconds 20";
        if (!any_take(quiet)) {
            note("for_noise", "for noise: a take of 10 s or more, nothing playing", {}, {command("capture", "--engine off" + as_usual)});
        } else if (turns && !off) {
            note("for_noise", "for noise: a take with the engine off, to compare with", {}, {command("capture", "--engine off" + as_usual)});
        }
        if (turns && !running)
            note("for_noise", "for noise: a take with the engine running", {}, {command("capture", "--engine idle" + as_usual)});
        if (turns && !job_.vehicle.cylinders)
            note("for_noise", "the number of cylinders is not stated: ignition noise can't be told by its rate", {},
                 {command("job", "--cylinders NUMBER")});
        if (!job_.vehicle.mains_hz)
            note("for_noise", "the mains frequency is not stated (50 or 60 Hz)", {}, {command("job", "--mains-hz 50")});
    }

    void for_gain() {
        if (!any_take([](const Take& take) { return !take.volume_steps.empty(); })) {
            const double top = job_.source.volume_top.value_or(0);
            const std::string steps = top >= 5 ? fmt::format("{},{},{},{},{}", top - 4, top - 3, top - 2, top - 1, top) : "VOLUME,VOLUME,VOLUME";
            note("for_gain", "for gain: a take in which the volume is stepped while a full-scale sine plays", {},
                 play("tone_997.wav", "sine --frequency 997 --level 0", " --duration 30", " --volume-steps " + steps));
        }
        if (job_.amplifiers.empty())
            note("for_gain", "for gain: the amplifiers' power and load", {},
                 {command("job", "--amplifier NAME,power_w=WATTS,load_ohm=OHMS,sensitivity_v=LOWEST:HIGHEST")});
        for (const AmplifierData& amplifier : job_.amplifiers)
            if (!amplifier.power_w || !amplifier.load_ohm)
                note("for_gain",
                     fmt::format("for gain: {} of the amplifier {}", amplifier.power_w ? "the load [ohm]" : "the power [W]",
                                 in_quotes(amplifier.name)),
                     {}, {command("job", "--amplifier " + shell_word(amplifier.name + (amplifier.power_w ? ",load_ohm=OHMS" : ",power_w=WATTS")))});
        for (const AmplifierData& amplifier : job_.amplifiers)
            if (job_.source.output == OutputKind::speaker && amplifier.input == OutputKind::line && !amplifier.converter)
                note("for_gain",
                     fmt::format("the source's output is at speaker level, and the amplifier {} has a line input: say what brings it down "
                                 "(--converter), or use its high-level input (input=speaker)",
                                 in_quotes(amplifier.name)));
    }

    void for_chain() {
        const bool any = any_take([](const Take& take) {
            if (!take.tone) return false;
            const Waveform& tone = take.tone->waveform;
            return std::holds_alternative<Sweep>(tone) || std::holds_alternative<Pink>(tone) || std::holds_alternative<PolarityPulse>(tone);
        });
        if (!any)
            note("for_chain", "for chain: a take of a sweep (response, balance, delay, polarity)", {},
                 play("sweep.wav", "sweep --from-hz 20 --to-hz 20000 --level -10", " --duration 10", " --duration 10 --volume VOLUME"));
    }

    void for_power() {
        const SupplyData& supply = job_.supply;
        if (!supply.length_m || !supply.area_mm2)
            note("for_power", "for power: the feed's length, area and conductor", {},
                 {command("job", "--supply length_m=METRES,area_mm2=MM2,conductor=copper")});
        for (const AmplifierData& amplifier : job_.amplifiers)
            if (!amplifier.max_current_a && !amplifier.power_w)
                note("for_power", fmt::format("for power: the current or the power of the amplifier {}", in_quotes(amplifier.name)), {},
                     {command("job", "--amplifier " + shell_word(amplifier.name + ",max_current_a=AMPERES"))});
        const bool probed = any_take([](const Take& take) {
            return std::any_of(take.channels.begin(), take.channels.end(), [](Channel one) { return !carries_signal(one); });
        });
        if (!probed)
            note("for_power", "for the ripple on the supply, and noise that comes by it: a take with a fused, isolated probe on the supply", {},
                 {command("capture", "--channels left,supply --attenuation-db 0,PAD --engine idle" + usual_volume() + " --seconds 20")});
    }

    void still_in() {
        for (const TemporaryItem& item : items_still_in(job_))
            note("still_in", item_in_words(item), item.last_take, {command("job", fmt::format("--observe removed={}", item.word))});
    }

    const OpenedJob& opened_;
    const Job& job_;
    std::vector<OpenPoint> found_;
};

}  // namespace

std::vector<OpenPoint> open_points(const OpenedJob& opened) {
    return Check(opened).run();
}

std::vector<Warning> check_job(const OpenedJob& opened) {
    std::vector<Warning> found;
    for (OpenPoint& one : open_points(opened)) found.push_back(std::move(one.what));
    return found;
}

}  // namespace hushtrace
