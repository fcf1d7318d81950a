#pragma once
#include <filesystem>
#include <string>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job_folder.hpp"

/// What goes beside the sounds of hear.hpp: a playlist, and a page to play them from. Neither needs a network or a script.
namespace hushtrace {

/// The listening files in playing order, as extended M3U in UTF-8, names relative to it.
std::string hear_playlist(const NoiseAnalysis& analysis);
/// The page: what each file holds, its gain, and a player; the caution on volume comes first.
std::string hear_page(const OpenedJob& opened, const NoiseAnalysis& analysis);

/// Writes playlist.m3u8 and index.html into analysis.heard_folder.
///   throws  as write_whole
void write_hear_page(const OpenedJob& opened, const NoiseAnalysis& analysis);

/// What the terminal says of what was written: page, playlist, how many sounds, the caution.
std::string hear_text(const NoiseAnalysis& analysis);

/// The sounds' place as a page in `page_folder` links it, ending in '/': empty when they lie elsewhere than below it.
std::string heard_below(const NoiseAnalysis& analysis, const std::filesystem::path& page_folder);

}  // namespace hushtrace
