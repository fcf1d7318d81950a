#include <algorithm>
#include <system_error>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/report/page.hpp"
#include "hushtrace/signal/error.hpp"
#include "record_pictures.hpp"

namespace hushtrace {

namespace fs = std::filesystem;

namespace {

void make_folder(const fs::path& folder) {
    std::error_code wrong;
    fs::create_directories(folder, wrong);
    if (wrong) throw Error(ErrorKind::file_unwritable, folder.string() + ": " + wrong.message());
}

/// Those of an earlier record that this one doesn't have.
void drop_stale(const fs::path& folder, const std::vector<DrawnPicture>& pictures) {
    std::error_code wrong;
    std::vector<fs::path> stale;
    for (const fs::directory_entry& entry : fs::directory_iterator(folder, wrong)) {
        const std::string name = entry.path().filename().string();
        const bool ours = std::any_of(pictures.begin(), pictures.end(), [&](const DrawnPicture& one) { return one.listed.file == name; });
        if (is_picture_name(name) && !ours && entry.is_regular_file(wrong)) stale.push_back(entry.path());
    }
    for (const fs::path& one : stale) fs::remove(one, wrong);
}

}  // namespace

RecordFiles record_place(const fs::path& page, bool pictures) {
    if (page.extension() != ".html")
        throw Error(ErrorKind::invalid_request, page.string() + ": a record's page must end in .html");
    RecordFiles files{page, fs::path(page).replace_extension(".json"), page.parent_path() / (page.stem().string() + "-pictures"), {}};
    if (files.data.filename() == "job.json")
        throw Error(ErrorKind::invalid_request,
                    page.string() + ": its data would be written over job.json; choose another name");
    std::error_code wrong;
    for (const fs::path& one : {files.page, files.data})
        if (fs::exists(one, wrong) && !fs::is_regular_file(one, wrong))
            throw Error(ErrorKind::invalid_request, one.string() + ": is there already and isn't a file");
    if (pictures && fs::exists(files.picture_folder, wrong) && !fs::is_directory(files.picture_folder, wrong))
        throw Error(ErrorKind::invalid_request, files.picture_folder.string() + ": is there already and isn't a folder");
    return files;
}

RecordFiles write_record(const OpenedJob& opened, const Analyses& analyses, std::string_view version,
                         const fs::path& page, bool pictures) {
    RecordFiles files = record_place(page, pictures);
    // all is made before anything is written: what can fail for the results' sake fails with nothing written
    const std::string page_text = record_page(opened, analyses, version);
    const std::vector<DrawnPicture> drawn = pictures_of(page_text);
    for (const DrawnPicture& one : drawn) {
        files.pictures.push_back(one.listed);
        files.pictures.back().file = pictures ? (files.picture_folder.filename() / one.listed.file).generic_string() : "";
    }
    const std::string data_text =
        report_document(opened, analyses, version, files.page.string(), files.data.string(), files.pictures);
    make_folder(page.has_parent_path() ? page.parent_path() : fs::path("."));
    if (pictures) {
        make_folder(files.picture_folder);
        for (const DrawnPicture& one : drawn) write_whole(files.picture_folder / one.listed.file, one.svg);
    }
    write_whole(files.data, data_text);
    write_whole(files.page, page_text);
    if (pictures) drop_stale(files.picture_folder, drawn);
    return files;
}

}  // namespace hushtrace
