#include "target.hpp"

#include <stdexcept>

#include "hushtrace/job/shown_text.hpp"
#include "hushtrace/job/spelling.hpp"
#include "hushtrace/signal/error.hpp"

// Asked by the leak sanitizer: what Debian's libraries lose over a damaged sound file isn't ours.
extern "C" const char* __lsan_default_suppressions();
extern "C" const char* __lsan_default_suppressions() { return "leak:libvorbis.so\nleak:libsndfile.so\n"; }

namespace hushtrace::fuzz {
namespace {

struct Broken : std::logic_error {
    using std::logic_error::logic_error;
};

}  // namespace

void require(bool holds, std::string_view what) {
    if (!holds) throw Broken(std::string(what));
}

void require_sentence(std::string_view text) {
    require(!text.empty() && text.size() < 4000, "a message is empty or endless");
    require(is_utf8(text), "a message is no UTF-8: " + clean_text(text));
    for (const char c : text) require(static_cast<unsigned char>(c) >= 0x20, "a message of several lines: " + clean_text(text));
}

bool done_or_refused(const std::function<void()>& work) {
    try {
        work();
        return true;
    } catch (const Error& refusal) {
        require_sentence(refusal.what());
        require(refusal.kind() != ErrorKind::device_failed && refusal.kind() != ErrorKind::disk_failed, "bad input is called a failed device");
        return false;
    }
}

std::string_view as_text(Bytes bytes) {
    return {reinterpret_cast<const char*>(bytes.data()), bytes.size()};
}

}  // namespace hushtrace::fuzz
