#pragma once
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/diagnose/chain_analysis.hpp"
#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/diagnose/floor_record.hpp"
#include "hushtrace/diagnose/power_analysis.hpp"
#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/report/kept.hpp"

/// The results as JSON, one document a command:
/// { "schema": "hushtrace.<command>/1", "tool": { name, version }, "input": {...}, "results": {...},
/// "warnings": [...] }. Every key of the contract is there in every document; what isn't known is null, and
/// so is a level of digital silence (with a warning "digital_silence"). No NaN or infinity is ever written.
/// Levels are rounded to 0.01 dB, other figures to six significant ones. Text that is no UTF-8 is repaired
/// with U+FFFD. Ends in a newline.
namespace hushtrace {

/// What a record is made of: the analyses that the takes allowed, and why another is absent.
struct Analyses {
    std::optional<NoiseAnalysis> noise;
    std::optional<GainAnalysis> gain;
    std::optional<ChainAnalysis> chain;
    std::optional<PowerAnalysis> power;  ///< where the job describes an amplifier or a branch
    std::optional<FloorRecord> floor_record;  ///< from the noise and, where there is one, the gain analysis
    std::optional<Made> made;            ///< when, by which version, with which options, of which files
    std::string heard_folder;  ///< where the page finds the sounds (heard_below); empty: not at all
    std::vector<Warning>
        warnings;  ///< "noise_not_analysed" and the same of gain, chain, power: what can't be read
};

/// A picture of the page, as the data list it.
struct RecordPicture {
    std::string file;                ///< from the page's folder: "report-pictures/01-....svg"; empty where no file was written
    std::string title, description;
};

///   record   results.floor_record, or null
std::string noise_document(const OpenedJob& opened, const NoiseAnalysis& analysis, std::string_view version, const FloorRecord* record = nullptr);
std::string gain_document(const OpenedJob& opened, const GainAnalysis& analysis, std::string_view version);
std::string chain_document(const OpenedJob& opened, const ChainAnalysis& analysis, std::string_view version);
std::string power_document(const OpenedJob& opened, const PowerAnalysis& analysis, std::string_view version);
/// results = { made, job, noise, gain, chain, power, floor_record, spectra, page, data, pictures }: what made it (or null), the job as
/// it stood, the results of each or null, the spectra's strips, where the record was written, and what the page shows.
std::string report_document(const OpenedJob& opened, const Analyses& analyses, std::string_view version,
                            std::string_view page, std::string_view data, const std::vector<RecordPicture>& pictures = {});

/// The job's own warnings, then the analysis', each once.
std::vector<Warning> all_warnings(const std::vector<Warning>& of_job,
                                  const std::vector<Warning>& of_analysis);
/// The record's: those of the job, of its analyses, and what could not be analysed.
std::vector<Warning> all_warnings(const OpenedJob& opened, const Analyses& analyses);

/// Whether something measured fails a limit written in job.json: a ceiling_thd_percent written there that the
/// source exceeds at every volume of a take. A limit that isn't written never fails.
bool fails_limit(const Job& job, const GainAnalysis& analysis);

}  // namespace hushtrace
