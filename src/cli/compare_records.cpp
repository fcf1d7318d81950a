#include "compare_records.hpp"

#include <fmt/format.h>

#include <system_error>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/report/comparison.hpp"
#include "hushtrace/report/page.hpp"
#include "hushtrace/signal/error.hpp"
#include "print.hpp"

namespace hushtrace::cli {
namespace {

namespace fs = std::filesystem;
constexpr std::size_t kMostData_bytes = 256u << 20;

RecordedSystem analysed(const OpenedJob& opened) {
    return read_recorded(report_document(opened, analyse(opened), HUSHTRACE_VERSION, "", ""), opened.folder.string());
}

bool is_folder(const fs::path& path) {
    std::error_code wrong;
    return fs::is_directory(path, wrong);
}

bool is_same_folder(const fs::path& a, const fs::path& b) {
    std::error_code wrong;
    return fs::equivalent(a, b, wrong) && !wrong;
}

void require_place(const RecordFiles& files, const fs::path& earlier) {
    for (const fs::path& one : {files.page, files.data})
        if (is_same_folder(one, earlier))
            throw Error(ErrorKind::invalid_request,
                        one.string() + ": the comparison would be written over the earlier record; choose another name with --out");
}

}  // namespace

void compare_with_earlier(const fs::path& job, const fs::path& earlier, const std::string& out, bool json) {
    const OpenedJob opened = open_job(job);
    const fs::path page = out.empty() ? opened.folder / "records" / "comparison.html" : fs::path(out);
    const RecordFiles files = record_place(page);
    require_place(files, earlier);
    const bool folder = is_folder(earlier), itself = folder && is_same_folder(job, earlier);
    // what is wrong with the earlier side is said before a long analysis
    std::optional<OpenedJob> other;
    std::optional<RecordedSystem> before;
    if (folder && !itself) other = open_job(earlier);
    if (!folder) before = read_recorded(read_whole(earlier, kMostData_bytes), earlier.string());
    const RecordedSystem after = analysed(opened);
    if (itself) before = after;
    if (other) before = analysed(*other);
    const Comparison comparison = compare_records(*before, after, itself ? RecordState::first : RecordState::last);
    const std::string page_text = comparison_page(comparison, HUSHTRACE_VERSION);
    const std::string data_text = comparison_document(comparison, HUSHTRACE_VERSION, files.page.string(), files.data.string());
    const fs::path place = page.has_parent_path() ? page.parent_path() : fs::path(".");
    std::error_code wrong;
    fs::create_directories(place, wrong);
    if (wrong) throw Error(ErrorKind::file_unwritable, place.string() + ": " + wrong.message());
    write_whole(files.data, data_text);
    write_whole(files.page, page_text);
    print_result(json ? data_text : fmt::format("{}\npage: {}\ndata: {}\n", comparison_text(comparison), files.page.string(), files.data.string()));
}

}  // namespace hushtrace::cli
