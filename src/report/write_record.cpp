#include <system_error>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/report/page.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {

namespace fs = std::filesystem;

RecordFiles record_place(const fs::path& page) {
    if (page.extension() != ".html")
        throw Error(ErrorKind::invalid_request, page.string() + ": a record's page must end in .html");
    RecordFiles files{page, fs::path(page).replace_extension(".json")};
    if (files.data.filename() == "job.json")
        throw Error(ErrorKind::invalid_request,
                    page.string() + ": its data would be written over job.json; choose another name");
    std::error_code wrong;
    for (const fs::path& one : {files.page, files.data})
        if (fs::exists(one, wrong) && !fs::is_regular_file(one, wrong))
            throw Error(ErrorKind::invalid_request, one.string() + ": is there already and isn't a file");
    return files;
}

RecordFiles write_record(const OpenedJob& opened, const Analyses& analyses, std::string_view version,
                         const fs::path& page) {
    RecordFiles files = record_place(page);
    // both are made before either is written: what can fail for the results' sake fails with nothing written
    const std::string page_text = record_page(opened, analyses, version);
    const std::string data_text =
        report_document(opened, analyses, version, files.page.string(), files.data.string());
    const fs::path folder = page.has_parent_path() ? page.parent_path() : fs::path(".");
    std::error_code wrong;
    fs::create_directories(folder, wrong);
    if (wrong) throw Error(ErrorKind::file_unwritable, folder.string() + ": " + wrong.message());
    write_whole(files.data, data_text);
    write_whole(files.page, page_text);
    return files;
}

}  // namespace hushtrace
