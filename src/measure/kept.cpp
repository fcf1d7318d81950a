#include "kept.hpp"

#include <list>
#include <utility>

namespace hushtrace {
namespace {

constexpr std::size_t kMost = 4;

/// The most recently used entries, newest first.
template <class Key, class Value, class Make>
Value& kept(std::list<std::pair<Key, Value>>& entries, const Key& key, Make&& make) {
    for (auto at = entries.begin(); at != entries.end(); ++at)
        if (at->first == key) {
            entries.splice(entries.begin(), entries, at);
            return entries.front().second;
        }
    entries.emplace_front(key, make());
    if (entries.size() > kMost) entries.pop_back();
    return entries.front().second;
}

}  // namespace

RealTransform& kept_transform(std::size_t length) {
    thread_local std::list<std::pair<std::size_t, RealTransform>> transforms;
    return kept(transforms, length, [&] { return RealTransform(length); });
}

const std::vector<double>& kept_window(WindowKind kind, std::size_t length) {
    using Key = std::pair<WindowKind, std::size_t>;
    thread_local std::list<std::pair<Key, std::vector<double>>> windows;
    return kept(windows, Key(kind, length), [&] { return window_samples(kind, length); });
}

}  // namespace hushtrace
