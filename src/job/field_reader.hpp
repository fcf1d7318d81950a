#pragma once
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/job/job.hpp"
#include "hushtrace/job/spelling.hpp"
#include "safe_json.hpp"

namespace hushtrace {

inline constexpr std::size_t kMostUnknownShown = 50;

/// What all fields of one text share while it is read.
struct JsonReading {
    std::string label;  ///< "job.json"
    std::vector<Warning>& warnings;
    std::size_t unknown_fields = 0;

    [[noreturn]] void refuse(const std::string& path, const std::string& why) const;
    void warn(std::string code, const std::string& path, const std::string& why,
              std::optional<std::string> take = {});
};

/// Which numbers a field takes.
struct Range {
    double lowest = -1e15, highest = 1e15;  ///< beyond this no figure of a vehicle makes sense
    bool lowest_itself = true;
};
inline constexpr Range kAny{};
inline constexpr Range kNotNegative{0, 1e15, true};
inline constexpr Range kPositive{0, 1e15, false};

/// Single values, checked; `path` names the field in messages.
double number_of(const Json& value, const std::string& path, const JsonReading& reading, Range range);
std::string string_of(const Json& value, const std::string& path, const JsonReading& reading);
/// "an object", "a number", ...
std::string_view type_of(const Json& value);

/// The fields of one object. Each is asked for by name; null reads like a field that isn't there. What was
/// never asked for is unknown to us: finish() warns about it.
class Fields {
public:
    /// throws Error invalid_input when `value` is no object
    Fields(const Json& value, std::string path, JsonReading& reading);

    std::string path_of(std::string_view name) const;
    [[noreturn]] void refuse(std::string_view name, const std::string& why) const;
    const Json* find(std::string_view name);  ///< nullptr for a null and for none

    std::optional<double> number(std::string_view name, Range range = kAny);
    std::optional<int> whole_number(std::string_view name, int lowest, int highest);
    std::optional<bool> yes_or_no(std::string_view name);
    std::optional<std::string> text(std::string_view name);
    /// A path inside the job's folder: relative, without "..", naming a file.
    std::optional<std::string> path(std::string_view name);
    std::vector<double> numbers(std::string_view name, Range range = kAny);
    std::vector<std::optional<double>> numbers_or_nulls(std::string_view name, Range range = kAny);
    std::vector<std::string> texts(std::string_view name);  ///< a bare text is read as a list of one
    template <class Word>
    std::optional<Word> word(std::string_view name) {
        const auto spelled = text(name);
        return spelled ? std::optional(word_of<Word>(*spelled, path_of(name))) : std::nullopt;
    }
    template <class Word>
    std::vector<Word> words(std::string_view name) {
        std::vector<Word> found;
        const auto spelled = texts(name);
        for (std::size_t i = 0; i < spelled.size(); ++i)
            found.push_back(word_of<Word>(spelled[i], item_path(name, i)));
        return found;
    }
    /// Calls `read(Fields&, index)` for each object of a list.
    template <class Read>
    void each(std::string_view name, Read read) {
        const Json* list = list_of(name);
        for (std::size_t i = 0; list && i < list->size(); ++i) {
            Fields item((*list)[i], item_path(name, i), reading_);
            read(item, i);
            item.finish();
        }
    }
    /// Calls `read(Fields&)` when the object is there.
    template <class Read>
    void object(std::string_view name, Read read) {
        const Json* value = find(name);
        if (!value) return;
        Fields inner(*value, path_of(name), reading_);
        read(inner);
        inner.finish();
    }
    void finish();
    JsonReading& reading() { return reading_; }

private:
    const Json* list_of(std::string_view name);
    std::string item_path(std::string_view name, std::size_t index) const;
    template <class Word>
    Word word_of(const std::string& spelled, const std::string& path) const {
        if (const auto word = from_word<Word>(spelled)) return *word;
        reading_.refuse(path, none_of(spelled, words_of<Word>()));
    }

    const Json& value_;
    std::string path_;
    JsonReading& reading_;
    std::vector<std::string_view> asked_;
};

}  // namespace hushtrace
