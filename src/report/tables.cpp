#include "hushtrace/report/tables.hpp"

#include <algorithm>
#include <array>
#include <iterator>
#include <map>
#include <nlohmann/json.hpp>
#include <system_error>
#include <utility>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/signal/error.hpp"

namespace hushtrace {
namespace {

using Json = nlohmann::ordered_json;
using Cells = std::vector<std::pair<std::string, std::string>>;   // column, cell as it is written

/// Keys by which a row is known; the rows of the lists inside it say them too.
constexpr std::array<std::string_view, 11> kNames = {"id",     "source_id", "take", "channel", "name", "part",
                                                     "number", "tone_hz",   "what", "file",    "kind"};
/// Lists of equal length that are one curve: a row a point.
struct Curve {
    std::string_view table;
    std::array<std::string_view, 3> lists;
};
constexpr std::array<Curve, 2> kCurves = {{{"noise-tracks", {"time_s", "frequency_hz", ""}},
                                           {"spectra", {"frequency_hz", "level_dbfs", "level_dbv"}}}};

std::string plain(const Json& value) {
    if (value.is_null()) return "";
    return value.is_string() ? value.get<std::string>() : value.dump(-1, ' ', false, Json::error_handler_t::replace);
}

std::string cell(const Json& value) {
    if (value.is_null() || value.is_number() || value.is_boolean()) return plain(value);
    if (!value.is_array()) return csv_text(plain(value));
    std::string joined;
    for (const Json& one : value) joined += (joined.empty() ? "" : "; ") + plain(one);
    return csv_text(joined);
}

bool holds_objects(const Json& value) {
    return value.is_array() && !value.empty() && std::all_of(value.begin(), value.end(), [](const Json& one) { return one.is_object(); });
}

class Tables {
public:
    void root(const Json& document) {
        Cells facts;
        const auto put = [&](const char* key, const Json& object) {
            if (object.is_object()) flatten(object, std::string(key) + ".", key, facts, facts);
        };
        if (document.contains("schema")) facts.emplace_back("schema", cell(document["schema"]));
        put("tool", document.value("tool", Json()));
        put("input", document.value("input", Json()));
        const Json results = document.value("results", Json::object());   // named: items() of a temporary would outlive it
        for (const auto& item : results.items()) section(item.key(), item.value(), facts);
        add("report", facts);
        if (document.contains("warnings")) list("warnings", document["warnings"], {});
    }

    std::vector<CsvTable> written() const {
        std::vector<CsvTable> out;
        for (const std::string& name : order_) out.push_back(write(name, tables_.at(name)));
        return out;
    }

private:
    struct Table {
        std::vector<std::string> columns;
        std::vector<std::map<std::string, std::string>> rows;
    };

    void section(const std::string& key, const Json& value, Cells& facts) {
        if (holds_objects(value)) {
            list(below("", key), value, {});
        } else if (value.is_object()) {
            row(below("", key), value, {});
        } else {
            facts.emplace_back(key, cell(value));
        }
    }

    void list(const std::string& table, const Json& items, const Cells& parents) {
        for (const Json& one : items)
            if (one.is_object()) row(table, one, parents);
    }

    /// One object as a row; its lists of objects become tables of their own, which tell the row that they are of.
    void row(const std::string& table, const Json& object, const Cells& parents) {
        Cells cells = {{"row", std::to_string(count(table) + 1)}};
        cells.insert(cells.end(), parents.begin(), parents.end());
        Cells known = {{"of.row", cells.front().second}};
        for (const auto& [column, text] : parents)
            if (column != "of.row" && !(object.contains(column.substr(3)) && is_name(column.substr(3)))) known.emplace_back(column, text);
        for (const auto& item : object.items())
            if (is_name(item.key()) && (item.value().is_primitive())) known.emplace_back("of." + item.key(), cell(item.value()));
        reserve(table);
        flatten(object, "", table, cells, known);
        add(table, cells);
    }

    void flatten(const Json& object, const std::string& prefix, const std::string& table, Cells& cells, const Cells& known) {
        const Curve* curve = nullptr;
        for (const Curve& one : kCurves)
            if (one.table == table && prefix.empty()) curve = &one;
        if (curve) points(*curve, object, table, known);
        for (const auto& item : object.items()) {
            const Json& value = item.value();
            if (curve && std::find(curve->lists.begin(), curve->lists.end(), item.key()) != curve->lists.end()) continue;
            if (holds_objects(value)) {
                list(below(table, item.key()), value, known);
            } else if (value.is_object() && !value.empty()) {
                flatten(value, prefix + item.key() + ".", below(table, item.key()), cells, known);
            } else {
                cells.emplace_back(prefix + item.key(), value.is_object() ? "" : cell(value));
            }
        }
    }

    void points(const Curve& curve, const Json& object, const std::string& table, const Cells& known) {
        const Json first = object.value(std::string(curve.lists[0]), Json::array());
        for (std::size_t i = 0; i < first.size(); ++i) {
            Cells cells = {{"row", std::to_string(count(table + "-points") + 1)}};
            cells.insert(cells.end(), known.begin(), known.end());
            for (const std::string_view list_name : curve.lists) {
                if (list_name.empty()) continue;
                const Json values = object.value(std::string(list_name), Json());
                cells.emplace_back(list_name, values.is_array() && i < values.size() ? cell(values[i]) : "");
            }
            add(table + "-points", cells);
        }
    }

    /// A table's name is a file's name too, and a key may be anybody's word: small letters, digits and _ stay.
    static std::string below(const std::string& table, std::string key) {
        constexpr std::size_t longest = 60;
        key.resize(std::min(key.size(), longest));
        for (char& c : key) {
            if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
            if (!((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'))) c = '_';
        }
        return table.empty() ? key : (table + "-" + key).substr(0, 3 * longest);
    }

    static bool is_name(const std::string& key) { return std::find(kNames.begin(), kNames.end(), key) != kNames.end(); }

    std::size_t count(const std::string& table) const {
        const auto found = tables_.find(table);
        return found == tables_.end() ? 0 : found->second.rows.size();
    }
    /// A table comes before those of its lists.
    void reserve(const std::string& table) {
        if (tables_.try_emplace(table).second) order_.push_back(table);
    }
    void add(const std::string& table, const Cells& cells) {
        reserve(table);
        Table& to = tables_[table];
        auto& written_row = to.rows.emplace_back();
        for (const auto& [column, text] : cells)
            if (written_row.emplace(column, text).second && std::find(to.columns.begin(), to.columns.end(), column) == to.columns.end())
                to.columns.push_back(column);
    }

    /// A column that stands for a list or an object with nothing in it, where other rows have one that is spread out.
    bool is_spread(const std::string& name, const Table& table, const std::string& column) const {
        std::string as_table = column;
        std::replace(as_table.begin(), as_table.end(), '.', '-');
        return tables_.count(name + "-" + as_table) != 0 ||
               std::any_of(table.columns.begin(), table.columns.end(), [&](const std::string& one) { return one.starts_with(column + "."); });
    }

    CsvTable write(const std::string& name, const Table& table) const {
        CsvTable out{name, table.rows.size(), {}};
        std::vector<std::string> columns;
        std::copy_if(table.columns.begin(), table.columns.end(), std::back_inserter(columns),
                     [&](const std::string& column) { return !is_spread(name, table, column); });
        const auto line = [&out](const auto& of, const auto& text_of) {
            for (std::size_t i = 0; i < of.size(); ++i) out.text += (i > 0 ? "," : "") + text_of(of[i]);
            out.text += "\r\n";
        };
        line(columns, [](const std::string& column) { return csv_text(column); });
        for (const auto& row : table.rows)
            line(columns, [&row](const std::string& column) {
                const auto found = row.find(column);
                return found == row.end() ? std::string() : found->second;
            });
        return out;
    }

    std::map<std::string, Table> tables_;
    std::vector<std::string> order_;
};

constexpr std::string_view kList = "tables.csv";

/// The names that an earlier run wrote; a line that isn't ours is passed over.
std::vector<std::string> listed_before(const std::filesystem::path& folder) {
    std::vector<std::string> names;
    std::string text;
    try {
        text = read_whole(folder / kList, std::size_t{1} << 20, false);
    } catch (const Error&) {
        return names;
    }
    for (std::size_t from = 0; from < text.size();) {
        const std::size_t end = std::min(text.find("\r\n", from), text.size());
        const std::string name = text.substr(from, std::min(text.find(',', from), end) - from);
        const bool ours = !name.empty() && name.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789_-") == std::string::npos;
        if (ours && from > 0) names.push_back(name);
        from = end + 2;
    }
    return names;
}

}  // namespace

std::string csv_text(std::string_view text) {
    const std::size_t first = text.find_first_not_of(" \t\r\n");
    const char sign = first == std::string_view::npos ? '\0' : text[first];
    const bool guarded = text.starts_with('\'') || std::string_view("=+-@").find(sign) != std::string_view::npos ||
                         (first > 0 && !text.empty() && text[0] != ' ');
    std::string cell_text = (guarded ? "'" : "") + std::string(text);
    if (cell_text.find_first_of(",\"\r\n") == std::string::npos && cell_text.find_first_of(" \t") != 0) return cell_text;
    std::string quoted = "\"";
    for (const char c : cell_text) quoted += c == '"' ? std::string("\"\"") : std::string(1, c);
    return quoted + "\"";
}

std::vector<CsvTable> tables_of(std::string_view document) {
    const Json whole = Json::parse(document, nullptr, false);
    if (!whole.is_object()) throw Error(ErrorKind::invalid_input, "tables: the data are no JSON object");
    Tables tables;
    tables.root(whole);
    return tables.written();
}

std::filesystem::path tables_folder(const std::filesystem::path& page) {
    return page.parent_path() / (page.stem().string() + "-tables");
}

std::size_t write_tables(std::string_view document, const std::filesystem::path& folder) {
    const std::vector<CsvTable> tables = tables_of(document);
    std::error_code fault;
    std::filesystem::create_directories(folder, fault);
    if (fault) throw Error(ErrorKind::file_unwritable, folder.string() + ": " + fault.message());
    std::string list = "table,rows\r\n";
    for (const CsvTable& one : tables) {
        write_whole(folder / (one.name + ".csv"), one.text);
        list += one.name + "," + std::to_string(one.rows) + "\r\n";
    }
    for (const std::string& name : listed_before(folder)) {
        const bool there = std::any_of(tables.begin(), tables.end(), [&](const CsvTable& one) { return one.name == name; });
        if (!there) std::filesystem::remove(folder / (name + ".csv"), fault);
    }
    write_whole(folder / kList, list);
    return tables.size();
}

}  // namespace hushtrace
