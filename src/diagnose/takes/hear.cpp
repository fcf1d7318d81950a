#include "hushtrace/diagnose/hear.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numeric>
#include <system_error>

#include "clear_part.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "take_apart.hpp"

namespace hushtrace {
namespace {

namespace fs = std::filesystem;

constexpr double kPeak_db = -6.0, kMostGain_db = 100.0;
constexpr std::size_t kWrite = 1 << 16;

/// One stretch of a take in the two channels that are written.
struct Stretch {
    const Take* take = nullptr;
    double rate = 0, from_s = 0;
    bool cut_short = false;
    Block sound;
    double duration_s() const { return static_cast<double>(sound.frames()) / rate; }
};

/// The pair of a take's channels that holds this one: left with right, rear with rear, else with the next signal channel.
std::pair<std::size_t, std::size_t> pair_with(const Take& take, Channel wanted) {
    const auto place = [&](Channel channel) -> std::optional<std::size_t> {
        const auto at = std::find(take.channels.begin(), take.channels.end(), channel);
        if (at == take.channels.end()) return std::nullopt;
        return static_cast<std::size_t>(at - take.channels.begin());
    };
    const std::size_t here = place(wanted).value_or(0);
    for (const auto& [left, right] : {std::pair{Channel::left, Channel::right}, {Channel::rear_left, Channel::rear_right}})
        if ((wanted == left || wanted == right) && place(left) && place(right)) return {*place(left), *place(right)};
    for (std::size_t c = 0; c < take.channels.size(); ++c) {
        const bool signal = carries_signal(take.channels[c]);
        if (c != here && signal) return {std::min(c, here), std::max(c, here)};
    }
    return {here, here};
}

Stretch read_stretch(const OpenedJob& job, const Take& take, std::pair<std::size_t, std::size_t> pair) {
    Stretch out;
    out.take = &take;
    Part clear;
    if (take.tone && take.tone->via != ToneVia::interface_output) {
        TakeReader first(take_path(job, take));
        clear = between_markers(first);
    }
    TakeReader reader(take_path(job, take));
    out.rate = reader.sample_rate_hz();
    out.from_s = static_cast<double>(clear.from) / out.rate;
    PartReader part(reader, clear);
    const auto most = static_cast<std::size_t>(kMostHeard_s * out.rate);
    std::vector<std::vector<double>> gathered(2);
    Block block;
    while (part.read(block, kWrite) > 0) {
        const std::size_t count = std::min(block.frames(), most - gathered[0].size());
        for (std::size_t c = 0; c < 2; ++c) {
            const auto from = block.channel(c == 0 ? pair.first : pair.second).first(count);
            gathered[c].insert(gathered[c].end(), from.begin(), from.end());
        }
        out.cut_short = count < block.frames();
        if (out.cut_short) break;
    }
    out.sound.reset(2, gathered[0].size());
    for (std::size_t c = 0; c < 2; ++c) std::copy(gathered[c].begin(), gathered[c].end(), out.sound.channel(c).begin());
    return out;
}

double peak_of(const Block& sound) {
    double peak = 0;
    for (std::size_t c = 0; c < sound.channels(); ++c)
        for (const double sample : sound.channel(c)) peak = std::max(peak, std::abs(sample));
    return peak;
}

/// The gain that a file gets, for what is heard: its peaks end at -6 dBFS.
double listening_gain_db(double peak, const HearWishes& wishes) {
    const double most = peak > 0.0 ? kPeak_db - decibels_from_amplitude(peak) : 0.0;
    return std::min({wishes.gain_db.value_or(most), most, kMostGain_db});
}

void write_sound(const fs::path& file, const Block& sound, double rate, double gain_db) {
    TakeWriter writer(file, rate, sound.channels());
    const double gain = amplitude_from_decibels(gain_db);
    Block block;
    for (std::size_t from = 0; from < sound.frames(); from += kWrite) {
        const std::size_t count = std::min(kWrite, sound.frames() - from);
        block.reset(sound.channels(), count);
        for (std::size_t c = 0; c < sound.channels(); ++c)
            std::transform(sound.channel(c).begin() + static_cast<std::ptrdiff_t>(from),
                           sound.channel(c).begin() + static_cast<std::ptrdiff_t>(from + count), block.channel(c).begin(),
                           [gain](double sample) { return gain * sample; });
        writer.write(block);
    }
    writer.close();
}

/// A take's name without its folder and ending, in letters that any file system and player knows.
std::string short_name(const std::string& file) {
    std::string name = fs::path(file).stem().string();
    for (char& c : name)
        if (!((c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_')) c = '_';
    return name.substr(0, 60);
}

/// Writes the files of one stretch and keeps the list.
class Scribe {
public:
    Scribe(const fs::path& folder, const HearWishes& wishes, NoiseAnalysis& into)
        : folder_(folder), wishes_(wishes), into_(into) {}

    void begin(const Stretch& stretch, std::size_t group) {
        stretch_ = &stretch;
        name_ = short_name(stretch.take->file);
        if (group > 0) name_ += fmt::format("-{}", group + 1);  // another pair of channels, or takes of one name
        take_gain_db_ = listening_gain_db(peak_of(stretch.sound), wishes_);
        write("take", "", stretch.sound, take_gain_db_);
    }

    void source(const NoiseSource& source, Block& alone) {
        Block without = stretch_->sound;
        for (std::size_t c = 0; c < 2; ++c)
            for (std::size_t n = 0; n < alone.frames(); ++n) {
                double& moved = alone.channel(c)[n];
                moved = static_cast<double>(static_cast<float>(moved));  // as it stands in its file, so that both add up
                without.channel(c)[n] -= moved;
            }
        exact("alone", source.id, alone);
        exact("without", source.id, without);
        write("alone", source.id, alone, listening_gain_db(peak_of(alone), wishes_));
        // the take and what is left of it at one gain, to be compared
        write("without", source.id, without, std::min(take_gain_db_, listening_gain_db(peak_of(without), wishes_)));
    }

private:
    HeardFile entry(const std::string& what, const std::string& id) const {
        HeardFile file;
        file.what = what;
        file.source_id = id;
        file.take = stretch_->take->file;
        file.from_s = stretch_->from_s;
        file.duration_s = stretch_->duration_s();
        return file;
    }
    void exact(const std::string& what, const std::string& id, const Block& sound) {
        HeardFile file = entry(what, id);
        file.exact = true;
        file.file = fmt::format("exact/{}-{}-{}.wav", name_, id, what);
        write_sound(folder_ / file.file, sound, stretch_->rate, 0.0);
        into_.heard.push_back(file);
    }
    void write(const std::string& what, const std::string& id, const Block& sound, double gain_db) {
        HeardFile file = entry(what, id);
        file.gain_db = gain_db;
        file.file = fmt::format("{:02}-{}{}{}-{}.flac", ++number_, name_, id.empty() ? "" : "-", id,
                                what == "take" ? "as-captured" : what);
        write_sound(folder_ / file.file, sound, stretch_->rate, gain_db);
        into_.heard.push_back(file);
    }

    const fs::path& folder_;
    const HearWishes& wishes_;
    NoiseAnalysis& into_;
    const Stretch* stretch_ = nullptr;
    std::string name_;
    double take_gain_db_ = 0;
    std::size_t number_ = 0;
};

/// What is written together: sources whose loudest channel lies in one pair of one take.
struct Group {
    const Take* take = nullptr;
    std::pair<std::size_t, std::size_t> pair;
    std::vector<const NoiseSource*> sources;
};

std::vector<Group> groups_of(const Job& job, const NoiseAnalysis& analysis) {
    std::vector<Group> groups;
    for (const NoiseSource& source : analysis.noise_sources) {
        const LevelInTake* level = loudest_level(source);
        if (!level || !can_be_taken_out(source, analysis, level->take)) continue;
        const auto take = std::find_if(job.takes.begin(), job.takes.end(),
                                       [&](const Take& one) { return one.file == level->take; });
        if (take == job.takes.end()) continue;
        const auto pair = pair_with(*take, level->channel);
        auto group = std::find_if(groups.begin(), groups.end(),
                                  [&](const Group& one) { return one.take == &*take && one.pair == pair; });
        if (group == groups.end()) group = groups.insert(groups.end(), {&*take, pair, {}});
        group->sources.push_back(&source);
    }
    return groups;
}

}  // namespace

void check_hear_folder(const fs::path& folder) {
    std::error_code wrong;
    if (!fs::exists(fs::symlink_status(folder, wrong))) return;
    if (!fs::is_directory(folder, wrong))
        throw Error(ErrorKind::invalid_request, folder.string() + ": is there already and is no folder");
    if (!fs::is_empty(folder, wrong) || wrong)
        throw Error(ErrorKind::invalid_request, folder.string() + ": is not empty; name a new folder for the sounds");
}

void write_heard(const OpenedJob& job, const fs::path& folder, const HearWishes& wishes, NoiseAnalysis& into) {
    check_hear_folder(folder);
    const std::vector<Group> groups = groups_of(job.job, into);
    into.heard_folder = folder.string();
    std::error_code wrong;
    fs::create_directories(folder / "exact", wrong);
    if (wrong) throw Error(ErrorKind::file_unwritable, folder.string() + ": " + wrong.message());
    Scribe scribe(folder, wishes, into);
    std::vector<std::string> names;
    for (const Group& group : groups) {
        const std::string name = short_name(group.take->file);
        const auto before = static_cast<std::size_t>(std::count(names.begin(), names.end(), name));
        names.push_back(name);
        const Stretch stretch = read_stretch(job, *group.take, group.pair);
        if (stretch.cut_short)
            into.warnings.push_back({"hear_cut_short",
                                     fmt::format("{}: the first {:.0f} s can be heard", group.take->file, kMostHeard_s),
                                     group.take->file});
        scribe.begin(stretch, before);
        take_apart(stretch.sound, stretch.rate, group.take->file, into, group.sources,
                   [&](const NoiseSource& source, Block& alone) { scribe.source(source, alone); });
    }
    for (const NoiseSource& source : into.noise_sources) {
        const bool told = std::any_of(into.heard.begin(), into.heard.end(),
                                      [&](const HeardFile& file) { return file.source_id == source.id; });
        if (!told)
            into.warnings.push_back({"not_heard",
                                     fmt::format("{}: has no sound that could be taken out of a take", source.id),
                                     std::nullopt});
    }
}

}  // namespace hushtrace
