#pragma once
#include <cstddef>
#include <string>

#include "hushtrace/live/share_page.hpp"
#include "share_server.hpp"

namespace hushtrace {

/// What the page's server answers: /TOKEN, /TOKEN/events, /TOKEN/ask, and to all else 404. Its making sets the server's
/// handlers; the server serves no more by the time it goes.
class ShareRoutes {
public:
    ShareRoutes(ShareServer& server, LiveBoard& board, std::string token);
    ShareRoutes(const ShareRoutes&) = delete;
    ShareRoutes& operator=(const ShareRoutes&) = delete;
    /// The port that a Host header must name.
    void set_port(int port) { port_ = port; }
    const std::string& token() const { return token_; }
    /// Phones that are sent events now.
    std::size_t phones() const { return phones_.taken(); }

private:
    httplib::Server::HandlerResponse route(const httplib::Request& request, httplib::Response& response);
    void send_page(httplib::Response& response) const;
    void send_events(const httplib::Request& request, httplib::Response& response);
    void take_request(const httplib::Request& request, httplib::Response& response);

    ShareServer& server_;
    LiveBoard& board_;
    const std::string token_;
    int port_ = 0;
    Places phones_{SharePage::most_phones_each, SharePage::most_phones};
};

}  // namespace hushtrace
