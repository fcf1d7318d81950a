#pragma once
#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/live/live_board.hpp"

namespace hushtrace {

/// Where the phone page is served. Loopback unless an address is named: nobody else can reach it then.
struct ShareWish {
    std::string address = "127.0.0.1";  ///< IPv4 of this computer; 0.0.0.0 for all of them
    std::uint16_t port = 0;             ///< 0 for any that is free
};
/// Reads "", "192.168.1.20", "192.168.1.20:8080", ":8080" or "localhost:8080".
///   throws Error invalid_request for anything else, in one sentence
ShareWish share_wish(std::string_view text);

/// This computer's IPv4 addresses, loopback last.
std::vector<std::string> own_addresses();

/// Serves the board as a page for a phone, from threads of its own, from its making to its end.
///
///   /TOKEN          the page: HTML with everything in it
///   /TOKEN/events   server-sent events (ShareFeed); Last-Event-ID or ?after=NUMBER says what the phone has
///   /TOKEN/ask      POST, one word of to_word(LiveRequest); 204 when it was left on the board
///   anything else   404, empty
///
/// A request touches the session through LiveBoard::ask alone. Slow, silent, many and hostile clients are held to
/// the limits below; threads run at a lower priority than the session's. The board must outlive the page.
class SharePage {
public:
    static constexpr std::size_t most_phones = 8;           ///< that are sent events; more get 503 and a sentence
    static constexpr std::size_t most_phones_each = 4;      ///< of one address
    static constexpr std::size_t most_connections = 32;     ///< open at once; half of them for those who have shown the token
    static constexpr std::size_t most_connections_each = 8;  ///< of one address; 4 while it hasn't
    static constexpr double requests_per_second_each = 20, requests_per_second = 100;

    /// throws Error invalid_request: an address that isn't ours (ours are listed), a port that can't be had;
    /// device_failed when the system gives no random token or no socket
    SharePage(LiveBoard& board, const ShareWish& wish);
    /// Sends what is left to the phones when the board is closed (within half a second), then ends all connections.
    ~SharePage();
    SharePage(const SharePage&) = delete;
    SharePage& operator=(const SharePage&) = delete;

    /// What a phone opens: "http://192.168.1.20:43210/TOKEN". Of 0.0.0.0 the first address that isn't loopback.
    std::string address() const;
    /// All that can be opened.
    std::vector<std::string> addresses() const;
    /// Whether other computers can reach it.
    bool beyond_this_computer() const;
    /// Phones that are sent events now.
    std::size_t phones() const;

private:
    class Inner;
    std::unique_ptr<Inner> inner_;
};

}  // namespace hushtrace
