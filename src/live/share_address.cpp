#include <fmt/format.h>
#include <fmt/ranges.h>

#include <charconv>

#include "hushtrace/job/spelling.hpp"
#include "hushtrace/live/share_page.hpp"
#include "hushtrace/signal/error.hpp"
#include "share_system.hpp"

namespace hushtrace {
namespace {

[[noreturn]] void refuse(std::string_view text) {
    throw Error(ErrorKind::invalid_request,
                fmt::format("the page's address {} must be an IPv4 address of this computer with or without a port, as 192.168.1.20:8080; "
                            "here: {}",
                            in_quotes(text), fmt::join(own_addresses(), ", ")));
}

}  // namespace

std::vector<std::string> own_addresses() {
    auto found = share_system::addresses();
    if (found.empty()) found = {"127.0.0.1"};
    return found;
}

ShareWish share_wish(std::string_view text) {
    ShareWish wish;
    const auto colon = text.find(':');
    const std::string address(text.substr(0, colon));
    if (!address.empty() && address != "localhost") wish.address = address;
    in_addr parsed{};
    if (::inet_pton(AF_INET, wish.address.c_str(), &parsed) != 1) refuse(text);
    if (colon == std::string_view::npos) return wish;
    const std::string_view port = text.substr(colon + 1);
    const auto [end, fault] = std::from_chars(port.data(), port.data() + port.size(), wish.port);
    if (fault != std::errc{} || end != port.data() + port.size()) refuse(text);
    return wish;
}

}  // namespace hushtrace
