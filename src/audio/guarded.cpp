#include "guarded.hpp"

#include <atomic>
#include <future>
#include <memory>
#include <thread>
#include <utility>

#include "sound_system_quirks.hpp"

namespace hushtrace::audio {
namespace {
std::atomic<bool> abandoned{false};
}

bool run_guarded(std::function<void()> work, std::chrono::milliseconds patience) {
    auto task = std::make_shared<std::packaged_task<void()>>(std::move(work));
    std::future<void> done = task->get_future();
    std::thread worker([task] {
        join_sound_system();
        (*task)();
    });
    // Let go only when it hangs: under Wine one thread in six that was let go at once never began.
    if (done.wait_for(patience) != std::future_status::ready) {
        abandoned.store(true);
        worker.detach();
        return false;
    }
    worker.join();
    done.get();
    return true;
}

bool work_was_abandoned() {
    return abandoned.load();
}

}  // namespace hushtrace::audio
