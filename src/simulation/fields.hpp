#pragma once
#include <array>
#include <nlohmann/json.hpp>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/signal/conditions.hpp"

namespace hushtrace::simulated {

/// Foreign text fit for a message: of one line, and cut with "..." when longer than 200 bytes.
std::string in_one_line(std::string_view text);

/// One object of a scenario file, read field by field. Every reader names file and field in its error;
/// finish() refuses the fields that nobody asked for.
class Fields {
public:
    /// `where` is the object's place in the file: "" for the whole, "vehicle.engine" below it.
    Fields(const nlohmann::json& object, std::string file, std::string where);

    double number(const char* name, double lowest, double highest);
    double number_or(const char* name, double otherwise, double lowest, double highest);
    std::optional<double> maybe_number(const char* name, double lowest, double highest);
    int whole(const char* name, int lowest, int highest);
    int whole_or(const char* name, int otherwise, int lowest, int highest);
    bool flag_or(const char* name, bool otherwise);
    std::string text(const char* name);
    std::string text_or(const char* name, const std::string& otherwise);
    template <class Word>
    Word word_or(const char* name, Word otherwise) {
        if (!has(name)) return otherwise;
        const std::string spelled = text(name);
        const std::optional<Word> found = from_word<Word>(spelled);
        if (!found) refuse(name, "unknown word \"" + spelled + "\"");
        return *found;
    }
    /// Exactly two numbers.
    std::array<double, 2> pair(const char* name, double lowest, double highest);

    /// Whether the field is there and not null.
    bool has(const char* name);
    Fields object(const char* name);
    std::vector<Fields> objects(const char* name);  ///< none when the field is left out
    std::vector<std::array<double, 2>> pairs(const char* name, double lowest, double highest);

    void finish() const;
    [[noreturn]] void refuse(const std::string& name, const std::string& reason) const;

private:
    const nlohmann::json& need(const char* name);
    double checked(const std::string& name, const nlohmann::json& value, double lowest, double highest) const;
    std::string place(const std::string& name) const;

    const nlohmann::json* object_;
    std::string file_, where_;
    std::set<std::string> asked_;
};

}  // namespace hushtrace::simulated
