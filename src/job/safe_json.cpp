#include "safe_json.hpp"

#include <fmt/format.h>

#include <cstddef>
#include <set>
#include <vector>

#include "hushtrace/job/spelling.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kLargestText = std::size_t{16} << 20;
constexpr std::size_t kDeepest = 32, kMostFields = 1000, kMostItems = 100000;

[[noreturn]] void refuse(std::string_view label, const std::string& why) {
    throw Error(ErrorKind::invalid_input, fmt::format("{}: {}", label, why));
}

std::string place_of(std::string_view text, std::size_t byte) {
    std::size_t line = 1, column = 1;
    for (std::size_t i = 0; i < std::min(byte, text.size()); ++i) {
        ++column;
        if (text[i] == '\n') {
            ++line;
            column = 1;
        }
    }
    return fmt::format("line {}, column {}", line, column);
}

/// Follows the parser through the text and stops it at the first thing that can't be part of a job.
class Checker final : public nlohmann::json_sax<Json> {
public:
    explicit Checker(std::string_view text) : text_(text) {}
    const std::string& fault() const { return fault_; }

    bool null() override { return item(); }
    bool boolean(bool) override { return item(); }
    bool number_integer(number_integer_t) override { return item(); }
    bool number_unsigned(number_unsigned_t) override { return item(); }
    bool number_float(number_float_t, const string_t&) override { return item(); }
    bool string(string_t& value) override { return no_nul(value) && item(); }
    bool binary(binary_t&) override { return false; }
    bool start_object(std::size_t) override { return open(true); }
    bool start_array(std::size_t) override { return open(false); }
    bool end_object() override { return close(); }
    bool end_array() override { return close(); }
    bool key(string_t& name) override {
        Level& level = levels_.back();
        level.name = name;
        if (!no_nul(name)) return false;
        if (!level.names.insert(name).second) return stop(fmt::format("{}: is given twice", path()));
        if (level.names.size() > kMostFields)
            return stop(fmt::format("an object holds more than {} fields", kMostFields));
        return true;
    }
    bool parse_error(std::size_t position, const std::string&,
                     const nlohmann::detail::exception& why) override {
        // the parser counts from 1, and stands behind the character that it couldn't use
        const std::string place = place_of(text_, position == 0 ? 0 : position - 1);
        const bool range = dynamic_cast<const nlohmann::detail::out_of_range*>(&why) != nullptr;
        fault_ = fmt::format("{}: {}", place,
                             range ? "a number too large to hold" : "not JSON" + token_hint(position));
        return false;
    }

private:
    struct Level {
        bool object = false;
        std::string name;  // of the field being read
        std::set<std::string> names;
        std::size_t items = 0;
    };

    bool stop(std::string why) {
        fault_ = std::move(why);
        return false;
    }
    bool no_nul(const std::string& value) {
        if (value.find('\0') == std::string::npos) return true;
        return stop(fmt::format("{}: a text holds a NUL character", path()));
    }
    bool item() {
        if (levels_.empty() || levels_.back().object) return true;
        if (++levels_.back().items > kMostItems)
            return stop(fmt::format("{}: a list holds more than {} items", path(), kMostItems));
        return true;
    }
    bool open(bool object) {
        if (!item()) return false;
        if (levels_.size() == kDeepest) return stop(fmt::format("nested more than {} levels deep", kDeepest));
        levels_.push_back({});
        levels_.back().object = object;
        return true;
    }
    bool close() {
        levels_.pop_back();
        return true;
    }
    /// Where the parser is, as in the fields' messages: takes[2].engine
    std::string path() const {
        std::string out;
        for (const Level& level : levels_) {
            if (level.object) {
                const std::string shown = in_quotes(level.name);
                out += (out.empty() ? "" : ".") + shown.substr(1, shown.size() - 2);
            } else if (level.items > 0 && &level != &levels_.back()) {
                out += fmt::format("[{}]", level.items - 1);
            }
        }
        return out.empty() ? "the text" : out;
    }
    /// JSON has no NaN and no infinity, and people try.
    std::string token_hint(std::size_t position) const {
        const std::size_t at = position == 0 ? 0 : position - 1;
        const std::string_view near = text_.substr(at > 4 ? at - 4 : 0, 16);
        for (const std::string_view word : {"NaN", "nan", "Infinity", "inf"})
            if (near.find(word) != std::string_view::npos)
                return fmt::format("; it has no {}, write null for what is not known", word);
        return at >= text_.size() ? "; the text ends too early" : "";
    }

    std::string_view text_;
    std::vector<Level> levels_;
    std::string fault_;
};

}  // namespace

Json parse_safely(std::string_view text, std::string_view label) {
    if (text.size() > kLargestText) refuse(label, "is larger than 16 MiB");
    if (text.empty()) refuse(label, "is empty");
    if (const auto nul = text.find('\0'); nul != std::string_view::npos)
        refuse(label, fmt::format("{}: holds a NUL byte; this is no text file", place_of(text, nul)));
    if (!is_utf8(text)) {
        std::size_t line = 1;  // of the first line that is at fault
        for (std::size_t from = 0; from < text.size(); ++line) {
            const std::size_t end = std::min(text.find('\n', from), text.size());
            if (!is_utf8(text.substr(from, end - from))) break;
            from = end + 1;
        }
        refuse(label, fmt::format("line {}: is not UTF-8", line));
    }
    Checker checker(text);
    if (!Json::sax_parse(text, &checker)) refuse(label, checker.fault());
    return Json::parse(text);
}

}  // namespace hushtrace
