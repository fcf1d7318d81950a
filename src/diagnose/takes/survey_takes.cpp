#include "survey_takes.hpp"

#include <algorithm>
#include <atomic>
#include <thread>

namespace hushtrace {

std::vector<std::future<TakeSurvey>> survey_takes(const OpenedJob& job, const std::vector<const Take*>& takes) {
    constexpr std::size_t most_at_once = 4;
    std::vector<std::packaged_task<TakeSurvey()>> tasks;
    std::vector<std::future<TakeSurvey>> surveys;
    tasks.reserve(takes.size());
    surveys.reserve(takes.size());
    for (const Take* take : takes) surveys.push_back(tasks.emplace_back([&job, take] { return survey_take(job, *take); }).get_future());
    std::atomic<std::size_t> next = 0;
    const auto work = [&] {
        for (std::size_t i = next++; i < tasks.size(); i = next++) tasks[i]();
    };
    std::vector<std::jthread> others;
    const std::size_t cores = std::max(1U, std::thread::hardware_concurrency());
    for (std::size_t i = 1; i < std::min({tasks.size(), cores, most_at_once}); ++i) others.emplace_back(work);
    work();
    others.clear();   // they are waited for
    return surveys;
}

}  // namespace hushtrace
