#pragma once
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/diagnose/gain_analysis.hpp"
#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/measure/reading.hpp"
#include "hushtrace/vehicle/supply_wiring.hpp"

/// The supply side of a job: draws, fuses, cables, the alternator's reserve, ripple. Method, tables and assumptions: docs/power.md.
namespace hushtrace {

/// What one amplifier may draw.
struct PowerDraw {
    std::string name;
    double current_a = 0;
    bool estimated = false;   ///< from its power: twice that over the charging voltage
    std::string note;         ///< where its branch has a say: which of the two currents counts
};
/// Why there is no fuse to name, or why a cable doesn't do.
enum class CableVerdict {
    fits,            ///< carries its fuse and keeps the drop
    too_thin,        ///< the smallest fuse that its current needs is more than it may stand behind
    drops_too_much,  ///< it carries the fuse, but loses more than allowed
    not_stated,      ///< no area was given: `smallest` is what to buy
    beyond_tables    ///< fuse or cable lie outside the tables: among them a cable thinner than 10 AWG with a small fuse
};
std::string_view to_word(CableVerdict verdict);

struct PowerCable {
    std::string part;                       ///< "feed", "ground", "branch sub"
    Conductor conductor = Conductor::copper;
    double temperature_c = 20;
    double current_a = 0;
    std::optional<double> length_m;         ///< one way
    std::optional<double> area_mm2;         ///< of the one that is fitted
    std::optional<double> resistance_ohm;   ///< of the fitted one, over its length
    std::optional<double> drop_v;           ///< over the fitted one at its whole current
    std::optional<double> with_feed_v;      ///< of a branch: its drop and the feed's together, where both are known
    std::optional<double> fuse_a;           ///< the fuse before it; unset where it needs none of its own or none can be named
    bool needs_fuse = false;                ///< a branch thinner than the main fuse asks for, and the feed itself
    std::optional<CableRating> carries;     ///< what the fitted one may stand behind; unset: thinner than the table
    std::optional<double> drop_area_mm2;    ///< smallest that keeps the drop; of a branch what the feed leaves of it
    std::optional<double> fuse_area_mm2;    ///< smallest that carries the fuse
    std::optional<CableSize> smallest;      ///< to be bought: keeps both
    CableVerdict verdict = CableVerdict::not_stated;
    std::vector<std::string> notes;
};
/// The feed as ripple current sees it.
struct FeedEstimate {
    double resistance_ohm = 0, inductance_h = 0;
    double line_hz = 1000;                  ///< of the whine at idle where the alternator is known, else 1 kHz
    bool line_known = false;
    double impedance_ohm = 0;               ///< at line_hz
    double battery_ripple_v = 0.05;         ///< rms, assumed
    double ripple_v = 0, ripple_a = 0;      ///< rms at the amplifier's terminals, and through the feed
    /// Where the feed's inductance and the amplifiers' capacitors resonate, more than the battery's ripple may stand at the terminals.
    struct Worst {
        double frequency_hz = 0, ripple_v = 0, ripple_a = 0;
        std::optional<double> rpm;          ///< at which the alternator whines there
    };
    double resonance_hz = 0;
    std::optional<Worst> worst;             ///< within 20 Hz to 20 kHz; unset where nothing exceeds the battery's
};
/// What a take of the supply shows.
struct MeasuredRipple {
    std::string take;
    Engine engine = Engine::off;
    Reading volts;                          ///< rms, 20 Hz to 20 kHz, the interface's own noise taken off, the scale's uncertainty in
};
struct AlternatorReserve {
    double rated_a = 0;
    double music_a = 0;                     ///< the amplifiers' mean draw with music: a third of their largest
    double vehicle_a = 0;                   ///< assumed for the vehicle itself: four tenths of the rating
    double reserve_a = 0;                   ///< at driving speed; negative: the battery drains
    double idle_reserve_a = 0;              ///< at idle, where it gives about half its rating
};
struct PowerAnalysis {
    std::vector<PowerDraw> draws;
    std::optional<double> total_a;          ///< unset where nothing says what an amplifier draws
    std::optional<double> fuse_a;           ///< main fuse; unset with fuse_reason
    std::string fuse_reason;                ///< empty, "cable_too_thin", "beyond_tables", "draw_unknown"
    std::string fuse_text;                  ///< one or two sentences, always set
    std::optional<double> drop_v;           ///< along the feed; the return is apart
    double allowed_drop_v = 0.5;
    bool allowed_drop_assumed = true, temperature_assumed = true;
    std::vector<PowerCable> cables;         ///< feed, ground, branches
    std::optional<AlternatorReserve> reserve;
    std::optional<FeedEstimate> feed;
    std::vector<MeasuredRipple> ripple;
    std::vector<std::string> assumptions, cautions;
    std::vector<Warning> warnings;
    std::vector<std::string> takes;         ///< that were read
};

/// From what the job describes, and its takes of the supply. `open` as in analyse_gain.
///   throws Error invalid_request when the job has neither an amplifier nor a branch, and when a branch bears a name that two amplifiers share
PowerAnalysis analyse_power(const OpenedJob& job, const OpenTake& open);
PowerAnalysis analyse_power(const OpenedJob& job);

}  // namespace hushtrace
