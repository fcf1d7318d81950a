#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <optional>
#include <stdexcept>
#include <string>
#include <vector>

#include "hushtrace/live/live_board.hpp"
#include "hushtrace/live/share_feed.hpp"
#include "hushtrace/live/share_gate.hpp"
#include "live/share_routes.hpp"
#include "target.hpp"

namespace hushtrace::fuzz {
namespace {

constexpr std::string_view token = "FUZZFUZZFUZZFUZZFUZZFUZZ77";   // as the corpus has it
constexpr int port = 8080;

class Handle {
public:
    explicit Handle(int value) : value_(value) {
        if (value < 0) throw std::runtime_error("no socket");
    }
    ~Handle() { ::close(value_); }
    Handle(const Handle&) = delete;
    Handle& operator=(const Handle&) = delete;
    int get() const { return value_; }

private:
    int value_;
};

/// Listens at a loopback address, so that the server sees addresses as it will.
class Loopback {
public:
    Loopback() : listening_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
        where_.sin_family = AF_INET;
        where_.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        socklen_t size = sizeof where_;
        auto* generic = reinterpret_cast<sockaddr*>(&where_);
        if (::bind(listening_.get(), generic, size) != 0 || ::listen(listening_.get(), 1) != 0 ||
            ::getsockname(listening_.get(), generic, &size) != 0)
            throw std::runtime_error("no loopback");
    }
    int connect() const {
        const int handle = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0), room = 1 << 20;
        ::setsockopt(handle, SOL_SOCKET, SO_RCVBUF, &room, sizeof room);
        if (handle >= 0 && ::connect(handle, reinterpret_cast<const sockaddr*>(&where_), sizeof where_) != 0)
            throw std::runtime_error("no connection");
        return handle;
    }
    int accept() const { return ::accept(listening_.get(), nullptr, nullptr); }

private:
    Handle listening_;
    sockaddr_in where_{};
};

/// Whether a server can tell that nothing more is to come.
bool is_whole(std::string_view request) {
    const auto end = request.find("\r\n\r\n");
    std::size_t body = 0;
    return end != request.npos && (refused_status(request.substr(0, end + 4), body) != 0 || request.size() - end - 4 >= body);
}

/// All in one thread: the request and the answer each fit what the system keeps under way.
std::string answer_to(std::string_view request, ShareServer& server, const Loopback& loopback) {
    const Handle phone(loopback.connect()), served(loopback.accept());
    require(::send(phone.get(), request.data(), request.size(), MSG_NOSIGNAL) == static_cast<ssize_t>(request.size()), "a request too long to try");
    // Browsers keep their side open, and only then are events sent. At the end the server waits a moment for its closing.
    if (!is_whole(request) || request.find("/events") == request.npos) ::shutdown(phone.get(), SHUT_WR);
    server.serve(served.get());
    ::shutdown(served.get(), SHUT_RDWR);
    std::string answer;
    std::array<char, 1 << 14> buffer;
    for (ssize_t got; (got = ::recv(phone.get(), buffer.data(), buffer.size(), 0)) > 0;) answer.append(buffer.data(), static_cast<std::size_t>(got));
    return answer;
}

/// The page's server without its gates, over a board with some events.
struct Stand {
    explicit Stand(bool ended) : routes(server, board, std::string(token)) {
        for (int i = 1; i <= 3; ++i) board.tell(i, "step", "step");
        board.publish({});
        if (ended) board.close();
        routes.set_port(port);
        require(server.open("127.0.0.1", 0) != 0, "no port");   // one that doesn't listen sends no events
    }
    LiveBoard board;
    ShareServer server;
    ShareRoutes routes;
};

struct Answer {
    int status = 0;
    std::vector<std::pair<std::string, std::string>> headers;
    std::string body;

    std::string header(std::string_view name) const {
        for (const auto& [key, value] : headers)
            if (key == name) return value;
        return {};
    }
};

/// Joins the chunks of a body (RFC 9112, 7.1).
std::string unchunked(std::string_view text) {
    std::string whole;
    for (;;) {
        std::size_t size = 0;
        const auto line = text.find("\r\n");
        require(line != text.npos && line > 0, "a chunk without a length");
        const auto [end, fault] = std::from_chars(text.data(), text.data() + line, size, 16);
        require(fault == std::errc{} && end == text.data() + line && text.size() >= line + 4 + size, "a chunk of another length");
        whole += text.substr(line + 2, size);
        require(text.substr(line + 2 + size, 2) == "\r\n", "a chunk without its end");
        text.remove_prefix(line + 4 + size);
        if (size == 0) break;
    }
    require(text.empty(), "something behind the last chunk");
    return whole;
}

/// By the letter of RFC 9112; what isn't well formed is a fault.
Answer parsed(std::string_view text) {
    Answer answer;
    require(text.starts_with("HTTP/1.1 ") && text.size() > 13 && text[12] == ' ', "an answer without a status line");
    answer.status = std::stoi(std::string(text.substr(9, 3)));
    const auto head = text.find("\r\n\r\n");
    require(head != text.npos, "an answer whose head doesn't end");
    for (auto at = text.find("\r\n") + 2; at < head + 2;) {
        const auto end = text.find("\r\n", at), colon = text.find(": ", at);
        require(colon < end, "a header without a colon");
        answer.headers.emplace_back(text.substr(at, colon - at), text.substr(colon + 2, end - colon - 2));
        at = end + 2;
    }
    const std::string_view body = text.substr(head + 4);
    const std::string length = answer.header("Content-Length");
    if (answer.header("Transfer-Encoding") == "chunked") answer.body = unchunked(body);
    else {
        require(answer.status == 204 || length == std::to_string(body.size()), "a body of another length than said");
        answer.body = body;
    }
    return answer;
}

/// What the request line asks for: the path without ?query, and whether by POST.
struct Asked {
    std::string path;
    bool post = false;
};
Asked asked_of(std::string_view request) {
    const std::string_view line = request.substr(0, request.find("\r\n"));
    const auto from = line.find(' '), to = line.rfind(' ');
    if (from == line.npos || from == to) return {};
    const std::string_view target = line.substr(from + 1, to - from - 1);
    return {std::string(target.substr(0, target.find('?'))), line.starts_with("POST ")};
}

void look_at(const Answer& answer, const Asked& asked, std::size_t left_on_board) {
    require(answer.header("Cache-Control") == "no-store" && answer.header("X-Content-Type-Options") == "nosniff", "an answer without its headers");
    const auto token_end = std::min(asked.path.size(), asked.path.find('/', 1));
    const bool token_right = token_end > 1 && same_token(std::string_view(asked.path).substr(1, token_end - 1), token);
    const std::string rest = asked.path.substr(token_end);
    require(answer.status != 500, "the server failed");
    if (answer.status == 200) {
        require(token_right && !asked.post && (rest.empty() || rest == "/" || rest == "/events"), "something is shown at another address");
        const std::string type = answer.header("Content-Type");
        require(type == (rest == "/events" ? "text/event-stream" : "text/html; charset=utf-8"), "a page of another kind");
        if (rest == "/events") require(answer.body.empty() || answer.body.ends_with("\n\n"), "an event is cut short");
    } else if (!token_right) {
        require(answer.body.empty() || answer.status == 400 || answer.status >= 408, "a stranger is told more than that there is nothing");
    }
    require(answer.body.find(token) == answer.body.npos, "an answer tells the token");
    require(left_on_board == (answer.status == 204 ? 1U : 0U), "the session is asked for something else than was answered");
    require(answer.status != 204 || (token_right && asked.post && rest == "/ask"), "a request is taken at another address");
}

/// Returns whether the head is let through.
bool try_rules(std::string_view text) {
    std::size_t body = 0;
    const auto end = text.find("\r\n\r\n");
    const int status = refused_status(end == text.npos ? text : text.substr(0, end + 4), body);
    require(status == 0 || (status >= 400 && status < 500), "a refusal of another kind");
    require(body <= most_body, "a body beyond its limit is let through");
    event_number(text);
    host_is_ours(text, "127.0.0.1", port);
    comes_from_our_page(text, text.substr(text.size() / 2), "127.0.0.1:8080");
    done_or_refused([&] { share_wish(text.substr(0, text.find('\0'))); });
    return status == 0;
}

}  // namespace

void try_phone(Bytes bytes) {
    bytes = bytes.first(std::min<std::size_t>(bytes.size(), 1 << 14));
    // A connection costs a hundred times what the rules do; those that they refuse all get the same short answer.
    if (!try_rules(as_text(bytes)) && bytes.size() % 8 != 0) return;
    static const Loopback loopback;
    static Stand running(false), ended(true);
    // A board that isn't closed sends events for ever.
    const Asked asked = asked_of(as_text(bytes));
    Stand& stand = asked.post && bytes.size() % 4 != 0 ? running : ended;
    const std::string answer = answer_to(as_text(bytes), stand.server, loopback);
    const std::size_t left_on_board = stand.board.take_requests().size();
    if (answer.empty()) {
        require(!is_whole(as_text(bytes)), "a whole request gets no answer");
        require(left_on_board == 0, "the session is asked for what was not answered");
        return;
    }
    look_at(parsed(answer), asked, left_on_board);
    require(stand.routes.phones() == 0, "a phone that is gone is still counted");
}

}  // namespace hushtrace::fuzz
