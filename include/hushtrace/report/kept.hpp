#pragma once
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "hushtrace/job/job_folder.hpp"

/// Results that stay: what made a record, and the copies that no later run overwrites (records/kept/ in the job's folder).
namespace hushtrace {

/// A take's file as it was read. What an unreadable one lacks is unset.
struct TakePrint {
    std::string file;                          ///< as job.json names it
    std::optional<std::uintmax_t> bytes;
    std::optional<double> seconds, sample_rate_hz;
    std::string sha256;                        ///< 64 hexadecimal digits; empty where the file can't be read
};
/// What a record was made by, and of.
struct Made {
    std::string at;                            ///< UTC, "2026-01-31T10:12:00Z"
    std::string version;
    std::vector<std::pair<std::string, std::string>> options;   ///< as given: "out" and its value
    std::vector<TakePrint> takes;
};
/// Reads every take's file once. `options` are told as they are.
Made made_now(const OpenedJob& opened, std::string_view version, std::vector<std::pair<std::string, std::string>> options);

/// SHA-256 of a regular file (FIPS 180-4, by OpenSSL's libcrypto) in hexadecimal; nothing where it can't be read.
std::optional<std::string> sha256_of(const std::filesystem::path& file);

/// Makes records/kept/ where it is missing, so that what stands in its way is told before a record is written.
///   throws  Error file_unwritable
std::filesystem::path kept_place(const OpenedJob& opened);
/// Writes a document under records/kept/ as "20260131T101200Z-0.1.0.json"; a second one of the same second ends in -2.
///   returns  the file written
///   throws   Error file_unwritable, disk_failed; nothing is left behind then
std::filesystem::path keep_results(const OpenedJob& opened, const Made& made, std::string_view document);

/// One kept document.
struct KeptResults {
    std::string at, version;                   ///< as in Made
    std::filesystem::path file;
};
struct KeptList {
    std::vector<KeptResults> results;          ///< the newest first, as their names say
    std::vector<Warning> warnings;             ///< "kept_unreadable": a file that is damaged or no record, by its name
};
/// What records/kept/ holds. Keys that this version doesn't know are passed over; no such folder is an empty list.
KeptList kept_results(const std::filesystem::path& job_folder);

}  // namespace hushtrace
