#include "hushtrace/live/share_gate.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <functional>

#include <fmt/format.h>

#include "hushtrace/signal/error.hpp"
#include "share_system.hpp"

namespace hushtrace {
namespace {

bool is_letter_or_digit(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
}

char capital(char c) {
    return c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
}

bool same_but_for_case(std::string_view a, std::string_view b) {
    return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](char x, char y) { return capital(x) == capital(y); });
}

std::string_view trimmed(std::string_view text) {
    const auto first = text.find_first_not_of(" \t");
    if (first == std::string_view::npos) return {};
    return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

/// Cuts the next line off, without its CRLF. False when there is none.
bool cut_line(std::string_view& rest, std::string_view& line) {
    const auto end = rest.find("\r\n");
    if (end == std::string_view::npos) return false;
    line = rest.substr(0, end);
    rest.remove_prefix(end + 2);
    return true;
}

int refused_request_line(std::string_view line) {
    const auto first = line.find(' ');
    const auto last = line.rfind(' ');
    if (first == std::string_view::npos || first == last) return 400;
    const auto method = line.substr(0, first), target = line.substr(first + 1, last - first - 1), version = line.substr(last + 1);
    if (version != "HTTP/1.1" && version != "HTTP/1.0") return 400;
    if (target.size() > most_target) return 414;
    constexpr std::string_view marks = "/_-.?=&";
    const bool plain = std::all_of(target.begin(), target.end(),
                                   [&](char c) { return is_letter_or_digit(c) || marks.find(c) != std::string_view::npos; });
    if (!plain || target.empty() || target.front() != '/' || (method != "GET" && method != "POST")) return 404;
    return 0;
}

struct Seen {
    bool post = false, host = false, length = false;
    std::size_t body = 0;
};

int refused_header(std::string_view line, Seen& seen) {
    constexpr std::string_view marks = "!#$%&'*+-.^_`|~";  // RFC 9110, 5.6.2: token
    const auto colon = line.find(':');
    if (colon == 0 || colon == std::string_view::npos) return 400;
    const auto name = line.substr(0, colon);
    if (!std::all_of(name.begin(), name.end(), [&](char c) { return is_letter_or_digit(c) || marks.find(c) != std::string_view::npos; })) return 400;
    const auto value = trimmed(line.substr(colon + 1));
    if (same_but_for_case(name, "Host")) {
        if (seen.host) return 400;
        seen.host = true;
    } else if (same_but_for_case(name, "Content-Length")) {
        if (seen.length || value.empty()) return 400;
        seen.length = true;
        const auto [end, fault] = std::from_chars(value.data(), value.data() + value.size(), seen.body);
        if (end != value.data() + value.size() || fault == std::errc::invalid_argument) return 400;
        if (fault != std::errc{} || seen.body > most_body) return 413;
    } else if (same_but_for_case(name, "Content-Type")) {
        if (seen.post && !same_but_for_case(value.substr(0, 10), "text/plain")) return 415;
    } else if (same_but_for_case(name, "Content-Encoding")) {
        return 415;
    } else if (same_but_for_case(name, "Expect")) {
        return 417;
    } else if (same_but_for_case(name, "Transfer-Encoding") || same_but_for_case(name, "Upgrade") || same_but_for_case(name, "Range")) {
        return 400;
    }
    return 0;
}

}  // namespace

std::string random_token() {
    std::array<unsigned char, 16> bytes{};
    if (!share_system::fill_random(bytes))
        throw Error(ErrorKind::device_failed, "the system gives no random numbers, so no page can be shared");
    constexpr std::string_view digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";
    std::string token;
    unsigned held = 0, bits = 0;
    for (const unsigned char byte : bytes) {
        held = (held << 8U | byte) & 0xFFFU;
        bits += 8;
        while (bits >= 5) {
            bits -= 5;
            token += digits[held >> bits & 31U];
        }
    }
    token += digits[held << (5 - bits) & 31U];
    return token;
}

bool same_token(std::string_view given, std::string_view token) {
    if (given.size() != token.size() || token.empty()) return false;
    unsigned different = 0;
    for (std::size_t i = 0; i < token.size(); ++i) {
        const auto a = static_cast<unsigned char>(given[i]), b = static_cast<unsigned char>(token[i]);
        const unsigned small = static_cast<unsigned>(a >= 'a') & static_cast<unsigned>(a <= 'z');
        different |= (a - 32U * small) ^ b;
    }
    return different == 0;
}

int refused_status(std::string_view head, std::size_t& body) {
    body = 0;
    if (head.size() > most_head) return 431;
    std::string_view rest = head, line;
    if (!cut_line(rest, line)) return 400;
    const bool controls = std::any_of(head.begin(), head.end(), [](char c) {
        const auto byte = static_cast<unsigned char>(c);
        return (byte < 32 && c != '\r' && c != '\n' && c != '\t') || byte == 127;
    });
    if (controls) return 400;
    Seen seen{.post = line.substr(0, 5) == "POST "};
    if (const int status = refused_request_line(line)) return status;
    bool ended = false;
    while (!ended && cut_line(rest, line)) {
        ended = line.empty();
        if (line.find_first_of("\r\n") != std::string_view::npos) return 400;
        if (ended) break;
        if (const int status = refused_header(line, seen)) return status;
    }
    if (!ended || !rest.empty() || !seen.host) return 400;
    if (seen.post && !seen.length) return 411;
    if (!seen.post && seen.body > 0) return 400;
    body = seen.body;
    return 0;
}

bool host_is_ours(std::string_view host, std::string_view local_address, int port) {
    const auto with_port = [&](std::string_view name) {
        return same_but_for_case(host, fmt::format("{}:{}", name, port)) || (port == 80 && same_but_for_case(host, name));
    };
    return with_port(local_address) || (local_address.substr(0, 4) == "127." && with_port("localhost"));
}

bool comes_from_our_page(std::string_view origin, std::string_view fetch_site, std::string_view host) {
    if (!origin.empty() && !same_but_for_case(origin, fmt::format("http://{}", host))) return false;
    return fetch_site.empty() || fetch_site == "same-origin" || fetch_site == "none";
}

RateGate::RateGate(Pace each, Pace all, std::size_t most_addresses)
    : each_(each), all_(all), most_addresses_(most_addresses), others_{each.burst, 0}, total_{all.burst, 0} {}

bool RateGate::take(Account& account, Pace pace, double now_s) {
    account.left = std::min(pace.burst, account.left + pace.per_second * (now_s - account.at_s));
    account.at_s = now_s;
    if (account.left < 1) return false;
    account.left -= 1;
    return true;
}

void RateGate::forget_idle(double now_s) {
    std::erase_if(accounts_, [&](const auto& entry) {
        return entry.second.left + each_.per_second * (now_s - entry.second.at_s) >= each_.burst;
    });
}

bool RateGate::admit(std::string_view address, double now_s) {
    auto found = accounts_.find(address);
    if (found == accounts_.end()) {
        if (accounts_.size() >= most_addresses_) forget_idle(now_s);
        if (accounts_.size() < most_addresses_) found = accounts_.emplace(std::string(address), Account{each_.burst, now_s}).first;
    }
    // an address that is over its own share takes nothing from the others'
    return take(found == accounts_.end() ? others_ : found->second, each_, now_s) && take(total_, all_, now_s);
}

}  // namespace hushtrace
