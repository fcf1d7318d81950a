#pragma once
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/report/document.hpp"

/// The record that is handed over: one HTML page that needs no network and runs no script, and its data
/// beside it.
namespace hushtrace {

/// The page as text: findings and what to do first, gain settings, pictures, then conditions, warnings,
/// cautions. Light and dark after the reader's own setting, A4 when printed, readable on a phone. All foreign
/// text is escaped.
std::string record_page(const OpenedJob& opened, const Analyses& analyses, std::string_view version);

/// One spectrum of the page: a take, and the take without the engine that it is compared with (or null).
struct SpectrumFigure {
    const TakePicture* picture = nullptr;
    const TakePicture* under = nullptr;
};
/// Which spectra the page shows, the most telling first: for each take the channel with the strongest marked
/// line, then the other channels; at most `most`. A take with the engine running is laid over one with it off
/// that was made at the same point with the same hookup, and the same volume where there is a choice. The
/// pointers point into `analysis`.
std::vector<SpectrumFigure> choose_spectra(const Job& job, const NoiseAnalysis& analysis, std::size_t most);

struct RecordFiles {
    std::filesystem::path page, data, picture_folder;
    std::vector<RecordPicture> pictures;   ///< those of the page, with their files where these were written
};
/// Where a record goes: the data beside the page with the suffix .json, the pictures' files in a folder of the page's name with "-pictures".
/// Nothing is written; for asking before the takes are analysed.
///   page       ends in .html
///   pictures   whether the pictures are to be written as files
///   throws     Error invalid_request for another suffix, for what is there and isn't a file (a folder for the pictures), and for a name
///              whose data would replace a job.json
RecordFiles record_place(const std::filesystem::path& page, bool pictures = false);

/// Writes page and data, and before them the pictures where these are asked for: each an SVG file that stands alone, in the colours of light
/// paper. Each file is there whole or not at all, so a reader never sees half of one, and an earlier record survives a full disk. The folders
/// are made where they are missing; pictures of an earlier record that this one lacks go from the folder, what else lies there stays.
///   throws   as record_place; Error file_unwritable; disk_failed
RecordFiles write_record(const OpenedJob& opened, const Analyses& analyses, std::string_view version,
                         const std::filesystem::path& page, bool pictures = false);

}  // namespace hushtrace
