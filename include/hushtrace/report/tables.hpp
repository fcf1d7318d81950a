#pragma once
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

/// A record's data as tables: one CSV file a list, made from the JSON document itself, so that what is new there comes along
/// here. docs/data.md says how a file and its columns are named.
namespace hushtrace {

struct CsvTable {
    std::string name;   ///< "noise-noise_sources-levels": the keys that lead to it; the file is NAME.csv
    std::size_t rows = 0;
    std::string text;   ///< RFC 4180: CRLF, a header line, quotes where needed, UTF-8
};
/// The tables of a document of the schema hushtrace.report/1. Lists without entries give none.
///   throws Error invalid_input for a text that is no JSON object
std::vector<CsvTable> tables_of(std::string_view document);

/// One cell: a text that a spreadsheet would take for a formula, and one that begins with an apostrophe, gets an apostrophe
/// in front; quotes where the text holds a comma, a quote or a line's end.
std::string csv_text(std::string_view text);

/// Where a page's tables lie: records/report.html has records/report-tables/.
std::filesystem::path tables_folder(const std::filesystem::path& page);
/// Writes the tables into a folder, each whole or not at all, and tables.csv, which lists them. What an earlier tables.csv
/// lists and this document doesn't have is taken away; other files stay.
///   returns  how many were written
///   throws   Error file_unwritable, disk_failed
std::size_t write_tables(std::string_view document, const std::filesystem::path& folder);

}  // namespace hushtrace
