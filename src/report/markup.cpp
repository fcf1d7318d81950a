#include "hushtrace/report/markup.hpp"

#include "hushtrace/report/wording.hpp"

namespace hushtrace {

std::string escaped(std::string_view text) {
    std::string out;
    for (const char c : clean_text(text)) switch (c) {
            case '&':
                out += "&amp;";
                break;
            case '<':
                out += "&lt;";
                break;
            case '>':
                out += "&gt;";
                break;
            case '"':
                out += "&quot;";
                break;
            case '\'':
                out += "&#39;";
                break;
            default:
                out += c;
        }
    return out;
}

}  // namespace hushtrace
