#include "kept.hpp"

#include <algorithm>
#include <list>
#include <mutex>
#include <utility>

namespace hushtrace {
namespace {

constexpr std::size_t kMost = 8;

struct Shelf {
    std::mutex mutex;
    std::list<std::unique_ptr<RealTransform>> transforms;   // that nobody uses; newest first
};

Shelf& shelf() {
    static Shelf one;
    return one;
}

}  // namespace

KeptTransform::KeptTransform(std::size_t length) {
    {
        const std::lock_guard lock(shelf().mutex);
        auto& idle = shelf().transforms;
        const auto at = std::find_if(idle.begin(), idle.end(), [length](const auto& one) { return one->length() == length; });
        if (at != idle.end()) {
            transform_ = std::move(*at);
            idle.erase(at);
        }
    }
    if (!transform_) transform_ = std::make_unique<RealTransform>(length);
}

KeptTransform::~KeptTransform() {
    const std::lock_guard lock(shelf().mutex);
    auto& idle = shelf().transforms;
    idle.push_front(std::move(transform_));
    if (idle.size() > kMost) idle.pop_back();
}

std::shared_ptr<const std::vector<double>> kept_window(WindowKind kind, std::size_t length) {
    using Key = std::pair<WindowKind, std::size_t>;
    static std::mutex mutex;
    static std::list<std::pair<Key, std::shared_ptr<const std::vector<double>>>> windows;   // newest first
    const Key key(kind, length);
    {
        const std::lock_guard lock(mutex);
        const auto at = std::find_if(windows.begin(), windows.end(), [&key](const auto& one) { return one.first == key; });
        if (at != windows.end()) {
            windows.splice(windows.begin(), windows, at);
            return at->second;
        }
    }
    auto made = std::make_shared<const std::vector<double>>(window_samples(kind, length));
    const std::lock_guard lock(mutex);
    windows.emplace_front(key, made);
    if (windows.size() > kMost) windows.pop_back();
    return made;
}

}  // namespace hushtrace
