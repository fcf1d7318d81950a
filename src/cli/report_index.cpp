#include "report_index.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <set>

#include "hushtrace/report/index.hpp"
#include "hushtrace/signal/error.hpp"
#include "print.hpp"

namespace hushtrace::cli {

void print_index(const std::vector<std::string>& folders) {
    std::vector<std::filesystem::path> jobs;
    std::set<std::filesystem::path> told;   // a folder that was named twice, or lies in another that was
    for (const std::string& folder : folders)
        for (const auto& job : jobs_below(folder))
            if (told.insert(std::filesystem::weakly_canonical(job)).second) jobs.push_back(job);
    std::size_t failed = 0;
    for (const auto& job : jobs) {
        const IndexLine line = index_line(job, HUSHTRACE_VERSION);
        if (line.failed) ++failed;
        print_result(line.text);
    }
    if (failed == jobs.size())
        throw Error(ErrorKind::invalid_input,
                    failed == 1 ? "--index: the job can't be read; its line says why"
                                : fmt::format("--index: none of {} jobs can be read; their lines say why", failed));
}

}  // namespace hushtrace::cli
