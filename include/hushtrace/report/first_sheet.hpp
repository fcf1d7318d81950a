#pragma once
#include <cstddef>
#include <string>
#include <vector>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/report/document.hpp"

/// What the page's first sheet tells the customer, in words without the trade's own. All texts are plain, unescaped, and short enough that
/// the sheet stays one printed page.
namespace hushtrace {

/// One noise before and after what was changed: one number each.
struct BeforeAfterFigure {
    std::string noise;            ///< "whine from the alternator"
    std::string before, after;    ///< "45 dB at the ear, give or take 8"
    std::string change;           ///< "12 dB quieter, give or take 4"
    std::string to_the_ear;       ///< "clearly quieter"
};
/// What is shown of a complaint on the sheet.
inline constexpr std::size_t kComplaintColumns = 300;

struct FirstSheet {
    std::string said;                        ///< the complaint, in the customer's words
    bool said_in_part = false;               ///< it was cut: the whole stands elsewhere
    std::vector<std::string> found, done;
    std::string not_done;                    ///< said in place of `done` where nothing was changed
    std::vector<BeforeAfterFigure> figures;
    std::string no_figures;                  ///< said in their place
    std::vector<std::string> failed;         ///< limits written in the job that are not met
    std::vector<std::string> remains;
    std::vector<std::string> temporary;      ///< what must come out again
};
FirstSheet first_sheet(const OpenedJob& opened, const Analyses& analyses);

/// What a change of level is to the ear, told from the end of its 95 % interval that claims least: "clearly quieter". Loudness doubles with
/// every 10 dB above 40 phon, and faster below (S. S. Stevens' sone, ISO 532-1), so "half as loud or less" holds for 10 dB; that less than
/// 1 dB isn't noticed and 3 dB clearly is, is common practice, no source.
///   at_most   it isn't found any more: it is quieter by so much at least. 0 and above: nothing can be told
std::string ear_words(double change_db, double sd_db, bool at_most);

/// A noise as a customer would call it: "whine from the alternator".
std::string customer_name(NoiseKind kind);

}  // namespace hushtrace
