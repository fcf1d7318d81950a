#include "hushtrace/report/hear_page.hpp"

#include <fmt/format.h>

#include <cmath>
#include <system_error>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/report/markup.hpp"
#include "hushtrace/report/wording.hpp"
#include "hear_parts.hpp"
#include "page_parts.hpp"

namespace hushtrace {
namespace {

namespace fs = std::filesystem;

constexpr const char* kCaution =
    "Start with the volume at its lowest and turn it up slowly: these sounds were raised by up to 100 dB, and one may be far "
    "louder than the one before.";

/// A line of its own in a playlist.
std::string one_line(const std::string& text) { return clean_text(text); }

std::string title_of(const NoiseAnalysis& analysis, const HeardFile& file) {
    if (file.what == "take") return file.take + " as captured";
    std::string name = file.source_id;
    for (const NoiseSource& source : analysis.noise_sources)
        if (source.id == file.source_id) name = headline(source);
    return file.what == "alone" ? name + ", alone" : file.take + " without: " + name;
}

std::string gain_text(const HeardFile& file) {
    if (std::abs(file.gain_db) < 0.05) return "at the take's own level";
    return fmt::format("{} by {:.1f} dB", file.gain_db > 0 ? "raised" : "lowered", std::abs(file.gain_db));
}

}  // namespace

std::string hear_playlist(const NoiseAnalysis& analysis) {
    std::string out = "#EXTM3U\n#PLAYLIST:Hushtrace, noise sources. CAUTION: start with the volume at its lowest\n";
    for (const HeardFile& file : analysis.heard) {
        if (file.exact) continue;
        out += fmt::format("#EXTINF:{:.0f},{} ({})\n{}\n", std::ceil(file.duration_s),
                           one_line(title_of(analysis, file)), gain_text(file), file.file);
    }
    return out;
}

std::string page::players(const NoiseAnalysis& analysis, const std::string& folder) {
    std::string out = fmt::format("<p class=\"fail\">Caution: {}</p>\n<ol class=\"heard\">\n", kCaution);
    for (const HeardFile& file : analysis.heard) {
        if (file.exact) continue;
        const std::string title = title_of(analysis, file);
        out += fmt::format(
            "<li><p><b>{}</b> · {}{}</p>\n<audio controls preload=\"none\" src=\"{}\" aria-label=\"{}\"></audio>\n",
            escaped(title), gain_text(file),
            file.from_s > 0 ? fmt::format(" · from {} s of the take on", figures_text(file.from_s, 3)) : "",
            escaped(page::url_path(folder + file.file)), escaped(title));
        out += "</li>\n";
    }
    return out + "</ol>\n";
}

std::string page::url_path(const std::string& path) {
    std::string out;
    for (const char c : path) {
        const auto u = static_cast<unsigned char>(c);
        const bool plain = (u >= 'a' && u <= 'z') || (u >= 'A' && u <= 'Z') || (u >= '0' && u <= '9') || u == '-' ||
                           u == '_' || u == '.' || u == '~' || u == '/';
        out += plain ? std::string(1, c) : fmt::format("%{:02X}", u);
    }
    return out;
}

std::string page::hear(const NoiseAnalysis& analysis, const std::string& folder) {
    if (analysis.heard.empty() || folder.empty()) return "";
    return fmt::format("<section>\n<h2>Hear it</h2>\n<p>Each noise source by itself, taken out of its loudest take, and the "
                       "take without it. <a href=\"{0}index.html\">The same on a page of its own</a>, "
                       "<a href=\"{0}playlist.m3u8\">playlist</a>.</p>\n{1}</section>\n",
                       escaped(page::url_path(folder)), page::players(analysis, folder));
}

std::string hear_page(const OpenedJob& opened, const NoiseAnalysis& analysis) {
    const std::string title = opened.job.title.empty() ? "Untitled job" : opened.job.title;
    std::string exact;
    for (const HeardFile& file : analysis.heard)
        if (file.exact)
            exact += fmt::format("<li><a href=\"{}\">{}</a></li>\n", escaped(page::url_path(file.file)), escaped(file.file));
    std::string body = page::players(analysis, "");
    if (analysis.heard.empty()) body = "<p class=\"lead\">Nothing was found that could be taken out of a take.</p>\n";
    if (!exact.empty())
        exact = "<section>\n<h2>At the take's own level</h2>\n<p>Of each pair, alone and without add up to the take, sample "
                "by sample. Played as they are, most can't be heard.</p>\n<ul>\n" + exact + "</ul>\n</section>\n";
    return fmt::format(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" "
        "content=\"width=device-width, initial-scale=1\">\n<title>Hear it: {0}</title>\n<style>{1}</style>\n</head>\n<body>\n"
        "<header>\n<p class=\"soft\">Noise sources to listen to</p>\n<h1>{0}</h1>\n</header>\n<main>\n<section>\n<h2>Which one "
        "is it?</h2>\n<p>Each sound is one noise source alone, or a take without it. A take and what is left of it are played "
        "at one gain, so that they can be compared; a source alone has a gain of its own. "
        "<a href=\"playlist.m3u8\">Playlist</a>.</p>\n{2}</section>\n{3}</main>\n</body>\n</html>\n",
        escaped(title), page::style(), body, exact);
}

void write_hear_page(const OpenedJob& opened, const NoiseAnalysis& analysis) {
    const fs::path folder = analysis.heard_folder;
    write_whole(folder / "playlist.m3u8", hear_playlist(analysis));
    write_whole(folder / "index.html", hear_page(opened, analysis));
}

std::string hear_text(const NoiseAnalysis& analysis) {
    const fs::path folder = analysis.heard_folder;
    std::string out = fmt::format("sounds: {}\nplaylist: {}\n", (folder / "index.html").string(),
                                  (folder / "playlist.m3u8").string());
    for (const HeardFile& file : analysis.heard)
        if (!file.exact)
            out += fmt::format("  {}: {}, {}\n", file.file, one_line(title_of(analysis, file)), gain_text(file));
    return out + "CAUTION: " + kCaution + "\n";
}

std::string heard_below(const NoiseAnalysis& analysis, const fs::path& page_folder) {
    if (analysis.heard.empty()) return "";
    std::error_code wrong;
    const fs::path top = fs::weakly_canonical(fs::absolute(page_folder), wrong);
    const fs::path here = fs::weakly_canonical(fs::absolute(fs::path(analysis.heard_folder)), wrong);
    const fs::path relative = here.lexically_relative(top);
    if (wrong || relative.empty() || *relative.begin() == "..") return "";
    return relative == "." ? "./" : relative.generic_string() + "/";
}

}  // namespace hushtrace
