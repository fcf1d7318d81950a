#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job.hpp"
#include "hushtrace/report/picture.hpp"

/// The level diagram: what passes from the source to the ear, stage by stage, between the highest clean level and the floor.
namespace hushtrace {

/// One stage of the chain. dBV, at the ear dB SPL; what isn't known is unset, and `unknown` says what would tell it.
struct LevelStage {
    std::string name;                             ///< "amplifier's output"
    bool at_ear = false;
    std::optional<double> highest_db;             ///< highest clean level, source at its ceiling
    double highest_sd_db = 0;
    std::optional<double> floor_db;               ///< noise, 20 Hz to 20 kHz
    double floor_sd_db = 0;
    bool floor_at_most = false;                   ///< it lies there or below; drawn with an arrow
    bool floor_at_least = false;                  ///< a part of it isn't known
    std::optional<double> limit_db;               ///< what the stage could bear
    std::string limit_name;                       ///< "rated output"
    std::string unknown;                          ///< empty, or what is missing
    /// Between highest level and floor [dB].
    std::optional<double> room_db() const;
    /// From the highest level that comes to what the stage could bear [dB]; negative: it is overdriven.
    std::optional<double> headroom_db() const;
};
struct LevelDiagram {
    std::string amplifier;
    std::string floors_from;                      ///< "noise from takes/off.flac: engine off, source at volume 20"; empty where unknown
    std::vector<LevelStage> stages;               ///< source, lead or converter, amplifier's input and output, speaker, ear
};
/// One for each amplifier of the gain analysis, in its order.
std::vector<LevelDiagram> level_diagrams(const Job& job, const GainAnalysis& gain);

/// Whether anything of it is known.
bool has_levels(const LevelDiagram& diagram);
/// Wide: a column a stage, levels upward; narrow: a row a stage, levels to the right. Above the ear's column its own dB SPL.
std::string level_svg(const LevelDiagram& diagram, PictureSize size, const std::string& id, const std::string& title);
/// The same in sentences, one a stage.
std::vector<std::string> level_words(const LevelDiagram& diagram);

}  // namespace hushtrace
