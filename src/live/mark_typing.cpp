#include "hushtrace/live/mark_typing.hpp"

#include <utility>

namespace hushtrace {
namespace {

std::string trimmed(const std::string& text) {
    const std::size_t first = text.find_first_not_of(' ');
    if (first == std::string::npos) return {};
    return text.substr(first, text.find_last_not_of(' ') - first + 1);
}

bool continues_a_letter(char byte) {
    return (static_cast<unsigned char>(byte) & 0xC0u) == 0x80u;
}

}  // namespace

void MarkTyping::key(char key, double time_s) {
    const auto code = static_cast<unsigned char>(key);
    if (key == '\r' || key == '\n') {
        if (text_.empty()) begun_s_ = time_s;
        const std::string text = trimmed(text_);
        done_.push_back({begun_s_, text.empty() ? "mark" : text});
        text_.clear();
    } else if (key == '\b' || code == 127) {
        while (!text_.empty() && continues_a_letter(text_.back())) text_.pop_back();
        if (!text_.empty()) text_.pop_back();
    } else if (code >= 32 && text_.size() < longest_text) {
        if (text_.empty()) begun_s_ = time_s;
        text_ += key;
    }
}

std::vector<Mark> MarkTyping::take() {
    return std::exchange(done_, {});
}

void MarkTyping::finish() {
    if (!trimmed(text_).empty()) key('\n', begun_s_);
    text_.clear();
}

}  // namespace hushtrace
