#include <nlohmann/json.hpp>
#include <string>
#include <utility>
#include <vector>

#include "hushtrace/job/job_check.hpp"
#include "hushtrace/job/job_text.hpp"
#include "target.hpp"

namespace hushtrace::fuzz {
namespace {

using Json = nlohmann::json;

Job read_back(const std::string& text) {
    std::vector<Warning> warnings;
    return parse_job(text, warnings);
}

/// A change such as a command makes, by the text's length so that each input always meets the same.
Job changed(Job job, std::size_t which) {
    switch (which % 5) {
        case 0: job.title = "another"; break;
        case 1:
            if (!job.takes.empty()) job.takes.erase(job.takes.begin());
            break;
        case 2: {
            Take take;
            take.file = "takes/new one.flac";
            take.channels = {Channel::left, Channel::right};
            std::erase_if(job.takes, [&](const Take& one) { return one.file == take.file; });
            job.takes.push_back(std::move(take));
            break;
        }
        case 3:
            job.interface.volts_full_scale = {2.0, std::nullopt};
            job.complaint.reset();
            break;
        default:
            if (!job.amplifiers.empty()) job.amplifiers.front().load_ohm = 2.0;
            if (!job.observations.empty()) job.observations.pop_back();
    }
    return job;
}

/// Fields at the top that the program doesn't know survive a change.
void require_strangers_kept(const Json& original, const Json& known, const Json& patched) {
    for (const auto& item : original.items())
        if (!known.contains(item.key()) && !item.value().is_null())
            require(patched.contains(item.key()), "a change loses the field " + item.key());
}

}  // namespace

void try_job(Bytes bytes) {
    const std::string_view text = as_text(bytes);
    std::vector<Warning> warnings;
    Job job;
    if (!done_or_refused([&] { job = parse_job(text, warnings); })) return;
    for (const Warning& one : warnings) require_sentence(one.text);

    const std::string written = job_text(job);
    require(job_text(read_back(written)) == written, "a job written and read again is another one");
    require(patched_job_text(text, job) == patched_job_text(patched_job_text(text, job), job), "an unchanged job changes its file");

    const Job other = changed(job, bytes.size());
    const std::string patched = patched_job_text(text, other);
    require(job_text(read_back(patched)) == job_text(other), "a changed job is another one after it was written");
    const Json original = Json::parse(text), known = Json::parse(written);
    require_strangers_kept(original, known, Json::parse(patched));

    for (const OpenPoint& one : open_points({"/nonexistent/job", std::move(job), {}})) {
        require_sentence(one.what.text);
        for (const std::string& command : one.make) require_sentence(command);
    }
}

}  // namespace hushtrace::fuzz
