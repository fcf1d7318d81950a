#pragma once
#include <cstddef>
#include <map>
#include <string>
#include <string_view>

/// Who and what is let through to the phone page: pure rules, no sockets.
namespace hushtrace {

/// 128 bits of the system's randomness in 26 letters and digits (base 32, RFC 4648: A to Z, 2 to 7), so that a code to
/// scan stays small and a hand can type it.
///   throws Error device_failed when the system gives none
std::string random_token();

/// Compared in a time that depends on the lengths alone; small letters count as capitals.
bool same_token(std::string_view given, std::string_view token);

/// Limits of one request [bytes]. The head holds the request line and all headers.
inline constexpr std::size_t most_head = 8192, most_target = 256, most_body = 64;

/// Why a request's head (up to and with its empty line) is refused before anything acts on it: the HTTP status, or 0
/// when it is fit. `body` is set to the length of the body that follows.
///
/// Fit is: GET without a body or POST with a short one of plain text; a target of letters, digits and /_-.?=&; version
/// 1.0 or 1.1; CRLF at every line's end, names of headers as RFC 9110 has them, no control characters, one Host. Refused
/// by name are Transfer-Encoding, Content-Encoding, Expect, Upgrade and Range, which no page of ours sends.
int refused_status(std::string_view head, std::size_t& body);

/// Whether the Host header names the address and the port that the connection came in by ("localhost" for a loopback
/// address): a name that a foreign server made point here (DNS rebinding) does not.
bool host_is_ours(std::string_view host, std::string_view local_address, int port);

/// Whether a request may come from our own page: Origin, where given, is http:// and the Host; Sec-Fetch-Site, where
/// given, is same-origin or none.
bool comes_from_our_page(std::string_view origin, std::string_view fetch_site, std::string_view host);

/// Lets through so many a second of each address and of all, more for a moment (`burst`). Memory is bounded: addresses
/// beyond `most_addresses` share one account. Not for several threads at once.
class RateGate {
public:
    struct Pace {
        double per_second, burst;
    };
    RateGate(Pace each, Pace all, std::size_t most_addresses);
    /// `now_s` never goes back.
    bool admit(std::string_view address, double now_s);

private:
    struct Account {
        double left, at_s;
    };
    static bool take(Account& account, Pace pace, double now_s);
    void forget_idle(double now_s);

    Pace each_, all_;
    std::size_t most_addresses_;
    std::map<std::string, Account, std::less<>> accounts_;
    Account others_, total_;
};

}  // namespace hushtrace
