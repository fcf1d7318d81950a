#pragma once
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job.hpp"
#include "hushtrace/report/picture.hpp"
#include "hushtrace/vehicle/entry_tables.hpp"

/// Pictures of where noise gets in, as those of picture.hpp: SVG elements in two sizes, coloured by the page, all text escaped. Beside
/// each stands a function that says the same in sentences, unescaped.
namespace hushtrace {

/// A way in, and the chance of all sets that hold it (of two ways at once each counts).
struct WayChance {
    EntryWay way = EntryWay::ground_loop;
    double probability = 0;   ///< 0..1
};
/// The ways of one source that are as probable as `least` or more, likeliest first. A word that is no path of ours is left out;
/// pick-up without a mechanism is taken to be into the lead.
std::vector<WayChance> ways_in(const NoiseAnalysis& analysis, const std::string& source_id, double least);
/// "ground loop", "lead pick-up": 20 columns at most, for a picture's rows.
std::string short_name(EntryWay way);
/// The same of a way's plain name; a name that isn't known is cut to 20 columns.
std::string short_name(const std::string& plain);

/// The signal chain with a mark at each way's place, lettered as in the list below it; a mark's area follows the chance. What the
/// likeliest way runs through is drawn bold.
///   ways   likeliest first
std::string chain_svg(const std::vector<WayChance>& ways, PictureSize size, const std::string& id, const std::string& title);
std::vector<std::string> chain_words(const std::vector<WayChance>& ways);

/// A trunk of strands, one a way that is open, going down through the tests; where a test rules a way out for good, its strand
/// leaves. Beside each test what it showed, and the ways' chances before and after.
///   tests   of one source, in the order in which they were made; one or more
std::string tests_svg(const std::vector<const TestMade*>& tests, PictureSize size, const std::string& id, const std::string& title);
std::vector<std::string> tests_words(const std::vector<const TestMade*>& tests);

/// Two takes that differ in one test or in what was mended between them. The pointers point into the analysis.
struct BeforeAfter {
    const NoiseSource* source = nullptr;
    const TakePicture *before = nullptr, *after = nullptr;
    std::string what;         ///< the test's name, or the change in words
    bool mended = false;      ///< else a test
    std::string said;         ///< what the analysis says of the change; empty where nothing
    std::optional<double> told_db = std::nullopt;   ///< the change that it says
};
/// Of each of the first sources the test that changed it most, and each take after a change against the like take before it: that
/// which `changes` names, else the last one before in the same conditions. Channel: the source's loudest.
std::vector<BeforeAfter> choose_before_after(const Job& job, const NoiseAnalysis& analysis, std::size_t most);
/// One of a source's lines in both takes, each read as its strongest bin.
struct LineChange {
    double before_hz = 0, after_hz = 0, before_dbfs = 0, after_dbfs = 0;
    bool at_least = false;    ///< it doesn't stand out any more: it fell by so much or more
    double change_db() const { return after_dbfs - before_dbfs; }
};
/// The lines that stand 8 dB or more out of what is round them (the median within 10 % either way) before, lowest first.
std::vector<LineChange> line_changes(const BeforeAfter& one);
/// Whether the strongest line's change is no match for what the analysis says: 10 dB apart and more, unless both say that it is gone.
bool contradicts(const BeforeAfter& one);
std::string before_after_svg(const BeforeAfter& one, PictureSize size, const std::string& id, const std::string& title);
std::vector<std::string> before_after_words(const BeforeAfter& one);

/// Whether a transfer has a point that can be drawn.
bool has_transfer(const SupplyTransfer& transfer);
/// Signal over supply against log frequency, 95 % bars on each point (hollow where the coherence is below a half), the fitted slope,
/// and through the points' middle the slopes that a shared resistance, magnetic and capacitive coupling would have.
std::string transfer_svg(const SupplyTransfer& transfer, PictureSize size, const std::string& id, const std::string& title);
std::vector<std::string> transfer_words(const SupplyTransfer& transfer);

}  // namespace hushtrace
