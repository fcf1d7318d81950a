#pragma once
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/report/picture.hpp"
#include "hushtrace/report/recorded_system.hpp"

/// Two records of one vehicle held against each other: what changed beyond its uncertainty. Nothing is compared that wasn't
/// measured alike; what is left out is named, with what differs. Rules and their origin: docs/comparing.md.
namespace hushtrace {

enum class ChangeVerdict {
    better,
    worse,
    changed,    ///< beyond its uncertainty, and neither way is better by itself
    unchanged,  ///< within it
    appeared,
    gone,           ///< found on one side alone, though it would have been seen on the other
    not_comparable  ///< `text` says why
};
std::string_view to_word(ChangeVerdict verdict);  ///< "better" ... "new" "gone" "not_comparable"

/// How far a figure strays from one run to the next though nothing changed: two standard uncertainties, so about 95 %. All are
/// proposals without a source; repeated takes in either record take their place.
struct RepeatabilityRules {
    double steady_db = 2.0;    ///< noise, engine off or at a held speed
    double idle_db = 4.0;      ///< noise, where the engine hunts: idle, sweep, cranking
    double level_db = 0.5;     ///< a played tone's level, the clipping level
    double thd_db = 3.0;       ///< THD, as a level
    double balance_db = 0.2;   ///< between the sides
    double response_db = 0.5;  ///< a third-octave of the response
    double crosstalk_db = 2.0;
    double delay_ms = 0.03;
    double meter_share = 0.10;  ///< of a meter's reading: drops, ripple, ohms
    double meter_least = 0.02;  ///< [V or ohm] and no less than that
    double charging_v = 0.2;
};

struct ComparedFigure {
    double value = 0, sd = 0;
    bool at_most = false;  ///< a bound: the truth may lie lower
};
/// One thing held against itself.
struct ComparedItem {
    std::string area;   ///< "noise" "floor" "ceiling" "distortion" "balance" "path" "amplifier" "supply" "health" "power"
    std::string what;   ///< "Alternator whine", "Floor, A-weighted"
    std::string where;  ///< channel and conditions in words, may be empty
    std::string take_before, take_after;
    std::string unit;  ///< of before and after: "dBV" "dBFS" "V" "%" "" ...
    std::optional<ComparedFigure> before, after;
    std::optional<double> difference, limit;  ///< [difference_unit]; beyond the limit it is a change
    std::optional<double> difference_sd;      ///< of the readings alone
    std::string difference_unit;              ///< "dB" mostly
    bool at_least = false;                    ///< the difference is a bound: it is that far at least
    std::string repeatability;                ///< "proposal" "takes" (repeated ones), or empty
    ChangeVerdict verdict = ChangeVerdict::not_comparable;
    std::string text;  ///< one sentence
};
struct TakePairing {
    std::vector<std::string> before, after;  ///< takes; several are repeats
    std::string conditions;                  ///< in words
    std::vector<std::string> remarks;        ///< assumptions that the comparison stands on
};
struct TakeLeftOut {
    bool earlier = false;              ///< of the earlier record
    std::string take, text;            ///< what differs, and how to repeat it
    std::vector<std::string> differs;  ///< "hookup", "rpm", ...
};
struct ComparedPoint {
    double x = 0;
    std::optional<ComparedFigure> before, after;
    bool changed = false;
};
/// Two curves over each other.
struct ComparedCurve {
    enum class Kind { floor, distortion, response } kind = Kind::floor;
    std::string title, unit;  ///< of the points: "dBV" "dBFS" "%" "dB"
    std::vector<ComparedPoint> points;
    std::string text;  ///< what it shows, in a sentence
};

struct Comparison {
    std::string before_called, after_called, before_version, after_version, title;
    std::optional<std::string> before_date, after_date;
    std::vector<std::string> in_short;  ///< three to five sentences, for the customer
    std::vector<std::string> notes;     ///< what else differs between the records
    std::vector<TakePairing> pairs;
    std::vector<TakeLeftOut> left_out;
    std::vector<ComparedItem> items;
    std::vector<ComparedCurve> curves;
};

/// Which takes of a record speak for it.
enum class RecordState {
    last,  ///< of each condition those after the last change: as it was handed over
    first  ///< before any change
};

/// Holds `after` against `before`. With before_state `first` both are one record: the state before any change and the last one.
///   throws   Error invalid_input: the vehicles can't be one (drive, cylinders, strokes, supply), or nothing at all was
///            measured alike; the message holds the reasons
Comparison compare_records(const RecordedSystem& before, const RecordedSystem& after, RecordState before_state = RecordState::last,
                           const RepeatabilityRules& rules = {});

/// For the terminal.
std::string comparison_text(const Comparison& comparison);
/// A hushtrace.comparison/1 document.
std::string comparison_document(const Comparison& comparison, std::string_view version, std::string_view page, std::string_view data);
/// The page, like a record's: one file, no network, no script.
std::string comparison_page(const Comparison& comparison, std::string_view version);

std::string curve_svg(const ComparedCurve& curve, PictureSize size, const std::string& id);
/// Levels of the noise sources before and after, with their uncertainties: the loudest `most` items of area "noise".
bool has_noise_bars(const Comparison& comparison);
std::string noise_bars_svg(const Comparison& comparison, PictureSize size, const std::string& id, const std::string& title);

}  // namespace hushtrace
