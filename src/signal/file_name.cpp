#include "hushtrace/signal/file_name.hpp"

#include <algorithm>
#include <array>

#include <fmt/format.h>

namespace hushtrace {
namespace {

// COM and LPT take a digit, the superscript ones of Latin-1 among them.
constexpr std::array devices = {"CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$"};
constexpr std::array ports = {"COM", "LPT"};
constexpr std::array digits = {"1", "2", "3", "4", "5", "6", "7", "8", "9", "\xC2\xB9", "\xC2\xB2", "\xC2\xB3"};

bool is_device(const std::string& stem) {
    if (std::find(devices.begin(), devices.end(), stem) != devices.end()) return true;
    if (stem.size() < 4 || std::find(ports.begin(), ports.end(), stem.substr(0, 3)) == ports.end()) return false;
    return std::find(digits.begin(), digits.end(), stem.substr(3)) != digits.end();
}

}  // namespace

std::string unfit_on_windows(std::string_view name) {
    const auto reserved = std::find_if(name.begin(), name.end(), [](char c) {
        return static_cast<unsigned char>(c) < 0x20 || std::string_view("<>:\"/\\|?*").find(c) != std::string_view::npos;
    });
    if (reserved != name.end()) return "Windows takes no name with a control character or one of < > : \" / \\ | ? *";
    if (!name.empty() && (name.back() == '.' || name.back() == ' ')) return "Windows takes no name that ends in a dot or a space";
    std::string stem(name.substr(0, name.find('.')));
    while (!stem.empty() && stem.back() == ' ') stem.pop_back();
    std::transform(stem.begin(), stem.end(), stem.begin(), [](char c) { return c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c; });
    if (is_device(stem)) return fmt::format("{} is a device of Windows; choose another name", stem);
    return {};
}

}  // namespace hushtrace
