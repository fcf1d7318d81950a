#include "share_routes.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <utility>

#include "hushtrace/live/live_json.hpp"
#include "hushtrace/live/share_feed.hpp"
#include "share_text.hpp"

namespace hushtrace {
namespace {

using httplib::Request;
using httplib::Response;

void say(Response& response, int status, const std::string& sentence) {
    response.status = status;
    if (!sentence.empty()) response.set_content(sentence, "text/plain; charset=utf-8");
}

std::string known_words() {
    std::string words;
    for (int i = 0; i <= static_cast<int>(LiveRequest::mark); ++i) words += fmt::format(" {}", to_word(static_cast<LiveRequest>(i)));
    return words;
}

}  // namespace

ShareRoutes::ShareRoutes(ShareServer& server, LiveBoard& board, std::string token)
    : server_(server), board_(board), token_(std::move(token)) {
    server_.set_default_headers({{"Cache-Control", "no-store"},
                                 {"X-Content-Type-Options", "nosniff"},
                                 {"Referrer-Policy", "no-referrer"},
                                 {"X-Frame-Options", "DENY"},
                                 {"Cross-Origin-Resource-Policy", "same-origin"}});
    server_.set_pre_routing_handler([this](const Request& request, Response& response) { return route(request, response); });
    // The token was looked at before (route), so what comes here needs no second look at its path.
    server_.Post("/[A-Za-z2-7]+/ask", [this](const Request& request, Response& response) { take_request(request, response); });
    server_.set_exception_handler([](const Request&, Response& response, std::exception_ptr) { say(response, 500, {}); });
}

httplib::Server::HandlerResponse ShareRoutes::route(const Request& request, Response& response) {
    constexpr auto handled = httplib::Server::HandlerResponse::Handled;
    const std::string_view path = request.path;
    const auto token_end = std::min(path.size(), path.find('/', 1));
    const bool token_right = same_token(path.substr(std::min<std::size_t>(1, path.size()), token_end - 1), token_);
    const std::string_view what = path.substr(token_end);
    const bool page = what.empty() || what == "/", events = what == "/events", ask = what == "/ask";
    if (!token_right || !(request.method == "POST" ? ask : page || events)) {
        say(response, 404, {});
        return handled;
    }
    server_.make_guest();
    if (!host_is_ours(request.get_header_value("Host"), request.local_addr, port_)) {
        say(response, 421, "Open the address as the program shows it, in figures.");
    } else if ((ask || events) && !comes_from_our_page(request.get_header_value("Origin"), request.get_header_value("Sec-Fetch-Site"),
                                                       request.get_header_value("Host"))) {
        say(response, 403, "Only the page itself may ask.");
    } else if (ask && request.get_header_value("X-Hushtrace") != "ask") {
        say(response, 403, "Only the page itself may ask.");
    } else if (ask) {
        return httplib::Server::HandlerResponse::Unhandled;  // its body is read first
    } else if (page) {
        send_page(response);
    } else {
        send_events(request, response);
    }
    return handled;
}

void ShareRoutes::send_page(Response& response) const {
    const std::string nonce = random_token();
    response.set_header("Content-Security-Policy",
                        fmt::format("default-src 'none'; script-src 'nonce-{0}'; style-src 'nonce-{0}'; connect-src 'self'; img-src data:; "
                                    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
                                    nonce));
    response.status = 200;
    response.set_content(share_text(nonce), "text/html; charset=utf-8");
}

void ShareRoutes::send_events(const Request& request, Response& response) {
    const std::string address = request.remote_addr;
    if (!phones_.enter(address)) {
        response.set_header("Retry-After", "3");
        say(response, 503, "As many phones as can be served are connected. Close the page on one of them.");
        return;
    }
    const bool named = request.has_header("Last-Event-ID");
    const auto after = event_number(named ? request.get_header_value("Last-Event-ID") : request.get_param_value("after"));
    const auto feed = std::make_shared<ShareFeed>(board_, after);
    response.status = 200;
    response.set_chunked_content_provider(
        "text/event-stream",
        [this, feed](std::size_t, httplib::DataSink& sink) {
            if (server_.stopping() || !sink.is_writable()) return false;
            const std::string text = feed->next(std::chrono::milliseconds(250));
            if (!text.empty() && !sink.write(text.data(), text.size())) return false;
            if (feed->over()) sink.done();
            return true;
        },
        [this, address](bool) { phones_.leave(address); });
}

void ShareRoutes::take_request(const Request& request, Response& response) {
    const auto asked = live_request(request.body);
    if (!asked) {
        say(response, 400, fmt::format("No such request. Known:{}", known_words()));
    } else if (board_.ask(*asked)) {
        say(response, 204, {});
    } else if (board_.closed()) {
        say(response, 409, "The measurement has ended.");
    } else {
        say(response, 503, "Too many requests wait. Try again in a moment.");
    }
}

}  // namespace hushtrace
