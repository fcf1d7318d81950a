#pragma once
#include <cstdlib>
#include <fstream>
#include <map>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

/// A reference table: one header row, comma-separated, no quotes (see README.md beside it). Throws when a
/// file or a column is missing, so that a check can't pass for want of its reference.
namespace reference {

class Row {
public:
    Row(std::map<std::string, std::string> cells) : cells_(std::move(cells)) {}
    const std::string& text(const std::string& column) const {
        const auto found = cells_.find(column);
        if (found == cells_.end()) throw std::runtime_error("reference table has no column " + column);
        return found->second;
    }
    double number(const std::string& column) const {
        const std::string& cell = text(column);
        char* end = nullptr;
        const double value = std::strtod(cell.c_str(), &end);
        if (cell.empty() || *end != '\0')
            throw std::runtime_error("not a number: '" + cell + "' in " + column);
        return value;
    }

private:
    std::map<std::string, std::string> cells_;
};

inline std::vector<Row> table(const std::string& name) {
    std::ifstream file(std::string(HUSHTRACE_REFERENCE_DIR) + "/" + name);
    if (!file) throw std::runtime_error("reference table missing: " + name);
    const auto split = [](const std::string& line) {
        std::vector<std::string> cells;
        std::string cell;
        std::istringstream stream(line);
        while (std::getline(stream, cell, ',')) cells.push_back(cell);
        if (!line.empty() && line.back() == ',') cells.emplace_back();
        return cells;
    };
    std::string line;
    std::getline(file, line);
    const auto header = split(line);
    std::vector<Row> rows;
    while (std::getline(file, line)) {
        const auto cells = split(line);
        std::map<std::string, std::string> named;
        for (std::size_t i = 0; i < header.size(); ++i) named[header[i]] = i < cells.size() ? cells[i] : "";
        rows.emplace_back(std::move(named));
    }
    if (rows.empty()) throw std::runtime_error("reference table is empty: " + name);
    return rows;
}

}  // namespace reference
