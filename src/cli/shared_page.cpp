#include "shared_page.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <chrono>
#include <cstdlib>
#include <thread>

#include "hushtrace/live/scan_code.hpp"
#include "hushtrace/signal/error.hpp"
#include "terminal_keys.hpp"

namespace hushtrace::cli {
namespace {

constexpr auto longest_wait = std::chrono::seconds(60);

/// Whether the user's terminal takes UTF-8, as the locale says.
bool takes_utf8() {
    for (const char* name : {"LC_ALL", "LC_CTYPE", "LANG"}) {
        const char* value = std::getenv(name);
        if (!value || *value == '\0') continue;
        std::string word(value);
        std::transform(word.begin(), word.end(), word.begin(), [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
        return word.find("UTF-8") != std::string::npos || word.find("UTF8") != std::string::npos;
    }
    return false;
}

bool takes_colour() {
    const char* declined = std::getenv("NO_COLOR");
    const char* terminal = std::getenv("TERM");
    return (!declined || *declined == '\0') && terminal && std::string(terminal) != "dumb";
}

void wait_for_a_phone(const SharePage& page, std::FILE* voice) {
    TerminalKeys keys(TerminalKeys::From::terminal);
    if (!keys.reads()) return;
    fmt::print(voice, "Scan it with the phone. The measurement begins when the phone has the page; Enter begins without it.\n"
                      "In the moving view the key p shows the code again.\n");
    const auto until = std::chrono::steady_clock::now() + longest_wait;
    while (page.phones() == 0 && keys.marks(0).empty() && !StopSignal::asked() && std::chrono::steady_clock::now() < until)
        std::this_thread::sleep_for(std::chrono::milliseconds(20));
}

}  // namespace

SharedPage::SharedPage(LiveBoard& board, const std::optional<std::string>& wish) {
    if (!wish) return;
    try {
        page_.emplace(board, share_wish(*wish));
    } catch (const Error& error) {
        throw Error(error.kind(), fmt::format("--share: {}", error.what()));
    }
}

void SharedPage::announce(std::FILE* voice) const {
    if (!page_) return;
    fmt::print(voice, "Phone page: {}\n", fmt::join(page_->addresses(), "\n        or: "));
    if (!page_->beyond_this_computer()) {
        auto others = own_addresses();
        std::erase_if(others, [](const std::string& one) { return one.rfind("127.", 0) == 0; });
        fmt::print(voice, "Only this computer can open it. For a phone in the same network: {}\n",
                   others.empty() ? "join that network, then --share ADDRESS" : fmt::format("--share {}", fmt::join(others, " or --share ")));
        return;
    }
    fmt::print(voice, "Whoever is in this network and has the address can press the page's buttons, and what it shows goes through the "
                      "network unencrypted: use a network of your own.\n"
                      "The vehicle is parked; nobody uses the page while driving.\n");
    if (isatty(fileno(voice)) == 0) return;
    const CodeStyle style = takes_utf8() ? takes_colour() ? CodeStyle::coloured : CodeStyle::half_blocks : CodeStyle::ascii;
    fmt::print(voice, "\n{}\n\n", fmt::join(draw_scan_code(scan_code(page_->address()), style), "\n"));
    std::fflush(voice);
    wait_for_a_phone(*page_, voice);
}

}  // namespace hushtrace::cli
