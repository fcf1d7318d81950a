#include "volume_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "hushtrace/report/wording.hpp"
#include "json_results.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t kMostRuns = 3;
constexpr double kTracksWell_db = 0.5, kShown_db = 0.1;  // common practice, no source

std::string law_sentence(const VolumeLaw& law) {
    const std::string each = law.volumes_known ? "volume number" : "step", where = law.volumes_known ? "volume " : "step ";
    const auto tone = fmt::format(" ({}, {})", spaced(to_word(law.channel)), frequency_text(law.tone_hz));
    if (law.even)
        return fmt::format("A {} is worth {:.3g} dB, evenly from {}{:g} to {:g}{}.", each, law.rise_db, where, law.runs.front().from,
                           law.runs.front().to, tone);
    if (law.runs.size() > kMostRuns) {
        double least = 1e300, most = -1e300;
        for (const auto& step : law.steps)
            if (step.rise_db) least = std::min(least, *step.rise_db), most = std::max(most, *step.rise_db);
        return fmt::format("A {} is worth {:.3g} to {:.3g} dB, unevenly, from {}{:g} to {:g}{}.", each, least, most, where,
                           law.runs.front().from, law.runs.back().to, tone);
    }
    std::string text = fmt::format("A {} is worth", each);
    for (std::size_t i = 0; i < law.runs.size(); ++i)
        text += fmt::format("{} {:.3g} dB from {}{:g} to {:g}", i == 0 ? "" : ", then", law.runs[i].rise_db, i == 0 ? where : "",
                            law.runs[i].from, law.runs[i].to);
    return text + tone + ".";
}

std::string balance_sentence(const ChannelBalance& one) {
    const double balance = *one.balance_db;
    const std::string first = spaced(to_word(one.first)), second = spaced(to_word(one.second));
    std::string text = std::abs(balance) < 0.05
                           ? fmt::format("{} and {} are equally loud", first, second)
                           : fmt::format("{} is {:.1f} dB louder than {}", balance > 0 ? first : second, std::abs(balance),
                                         balance > 0 ? second : first);
    text.front() = static_cast<char>(std::toupper(static_cast<unsigned char>(text.front())));
    text += fmt::format(" ({})", frequency_text(one.tone_hz));
    if (*one.tracking_db < kShown_db) return text + ", the same at every clean step.";
    const auto worst = std::max_element(one.steps.begin(), one.steps.end(), [&](const auto& a, const auto& b) {
        const auto off = [&](const ChannelBalance::Step& s) { return s.clean ? std::abs(s.balance_db - balance) : -1.0; };
        return off(a) < off(b);
    });
    return text + fmt::format("; between clean steps that {} by up to {:.1f} dB, most at {}.",
                              *one.tracking_db > kTracksWell_db ? "strays" : "varies", *one.tracking_db,
                              worst->volume ? fmt::format("volume {:g}", *worst->volume) : fmt::format("step {}", worst->step));
}

}  // namespace

std::vector<std::string> volume_sentences(const GainAnalysis& analysis) {
    std::vector<std::string> out;
    if (analysis.volume_law) out.push_back(law_sentence(*analysis.volume_law));
    for (const ChannelBalance& one : analysis.balances)
        if (one.balance_db) out.push_back(balance_sentence(one));
    return out;
}

std::string lag_text(const VolumeStep& step) {
    if (!step.compression_db || *step.compression_db < std::max(kShown_db, 2.0 * step.compression_sd_db.value_or(0.0))) return {};
    return fmt::format("lags {:.1f} dB", *step.compression_db);
}

Json volume_law_json(const GainAnalysis& analysis) {
    if (!analysis.volume_law) return nullptr;
    const VolumeLaw& law = *analysis.volume_law;
    Json steps = Json::array(), runs = Json::array();
    for (const auto& one : law.steps)
        steps.push_back({{"volume", figure_json(one.volume)},
                         {"step", one.step},
                         {"gain_db", figure_json(one.gain_db)},
                         {"rise_db", figure_json(one.rise_db)}});
    for (const auto& one : law.runs)
        runs.push_back({{"from", figure_json(one.from)}, {"to", figure_json(one.to)}, {"rise_db", figure_json(one.rise_db)}});
    return {{"take", law.take},
            {"channel", std::string(to_word(law.channel))},
            {"tone_hz", figure_json(law.tone_hz)},
            {"volumes_known", law.volumes_known},
            {"rise_db", figure_json(law.rise_db)},
            {"even", law.even},
            {"runs", std::move(runs)},
            {"steps", std::move(steps)}};
}

Json balances_json(const GainAnalysis& analysis) {
    Json out = Json::array();
    for (const ChannelBalance& one : analysis.balances) {
        Json steps = Json::array();
        for (const auto& step : one.steps)
            steps.push_back({{"step", step.step},
                             {"volume", figure_json(step.volume)},
                             {"balance_db", figure_json(step.balance_db)},
                             {"clean", step.clean}});
        out.push_back({{"take", one.take},
                       {"tone_hz", figure_json(one.tone_hz)},
                       {"channels", {std::string(to_word(one.first)), std::string(to_word(one.second))}},
                       {"balance_db", figure_json(one.balance_db)},
                       {"tracking_db", figure_json(one.tracking_db)},
                       {"steps", std::move(steps)}});
    }
    return out;
}

}  // namespace hushtrace
