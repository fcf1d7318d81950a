#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/report/document.hpp"

/// The page's sections, each a string of HTML, empty where there is nothing to say.
namespace hushtrace::page {

std::string style();
/// The pictures' own rules, and the colours that they and the page name: "--ink: #20262b; ...".
std::string_view picture_style();
std::string_view light_palette();
std::string_view dark_palette();
/// The one printed page for the customer (first_sheet.hpp).
std::string first_sheet(const OpenedJob& opened, const Analyses& analyses);
/// What is shown of a title, and of each fact below it.
inline constexpr std::size_t kTitleColumns = 120, kFactColumns = 80;
/// The job's texts that were cut short further up.
std::string in_full(const Job& job);
/// Each amplifier's levels from source to ear.
std::string level_diagrams(const OpenedJob& opened, const GainAnalysis& analysis);
std::string supply(const PowerAnalysis& analysis);
std::string instruments(const OpenedJob& opened);
std::string method(const Analyses& analyses);
std::string temporary_items(const Job& job);
/// The few sentences that come before all: what is heard most, what to do first, how far the volume may go.
std::string in_short(const Analyses& analyses);
std::string findings(const NoiseAnalysis& analysis);
/// The findings that are too many to be told in full.
std::string further_findings(const NoiseAnalysis& analysis);
/// Players for the sounds that were written; `folder` is their place from the page, ending in '/', empty where the page
/// can't reach them.
std::string hear(const NoiseAnalysis& analysis, const std::string& folder);
std::string next_test(const NoiseAnalysis& analysis);
/// What takes with a probe on the supply tell.
std::string supply_probe(const NoiseAnalysis& analysis);
std::string cures(const NoiseAnalysis& analysis);
std::string changes(const NoiseAnalysis& analysis);
std::string actions(const NoiseAnalysis& analysis);
std::string health(const NoiseAnalysis& analysis);
/// Where noise gets in, as pictures: the chain with its marks, the tests, before and after, the supply's transfer.
std::string entry_pictures(const OpenedJob& opened, const NoiseAnalysis& analysis);
std::string gain(const OpenedJob& opened, const GainAnalysis& analysis);
/// Of the gain's section, where each amplifier's gain must stand.
std::string amplifier_table(const GainAnalysis& analysis);
std::string chain(const ChainAnalysis& analysis);
std::string noise_pictures(const OpenedJob& opened, const NoiseAnalysis& analysis);
std::string noise_floor(const NoiseAnalysis& analysis);
/// The noise-floor record: each condition, the limits, thirds of octaves, what is missing.
std::string floor_record(const FloorRecord& record);
std::string conditions(const Job& job);
std::string warnings(const OpenedJob& opened, const Analyses& analyses);
std::string cautions(const Job& job);

/// Both sizes of a picture in a figure with a caption of ready HTML.
std::string figure(const std::string& wide_svg, const std::string& narrow_svg,
                   const std::string& caption_html);
/// The same, and below it what it shows in sentences, for who can't see it. `list`: "ul" or "ol".
std::string told_figure(const std::string& wide_svg, const std::string& narrow_svg, const std::string& caption_html,
                        const std::vector<std::string>& words, const char* list);
/// What a cell or a fact shows of a text; the data hold it whole.
inline constexpr std::size_t kCellColumns = 600;
/// A cell with the text escaped; `label` names its column where a phone shows each row as a list.
std::string cell(std::string_view text, std::string_view label);
/// A table in a box that scrolls sideways where it must. Headings and caption are plain text; `rows` is ready
/// HTML.
std::string table(const std::vector<std::string_view>& headings, const std::string& rows,
                  std::string_view caption = "");

}  // namespace hushtrace::page
