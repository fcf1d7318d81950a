#include "share_connection.hpp"

#include <fmt/format.h>
#include <poll.h>

#include <algorithm>
#include <array>
#include <cerrno>

#include "hushtrace/live/share_gate.hpp"

namespace hushtrace {
namespace {

using Clock = std::chrono::steady_clock;

constexpr std::chrono::milliseconds slice{200};  // so often a wait looks whether the page ends

void name_of(bool remote, int handle, std::string& ip, int& port) {
    sockaddr_in address{};
    socklen_t size = sizeof address;
    auto* generic = reinterpret_cast<sockaddr*>(&address);
    if ((remote ? ::getpeername(handle, generic, &size) : ::getsockname(handle, generic, &size)) != 0 || address.sin_family != AF_INET) return;
    char text[INET_ADDRSTRLEN] = {};
    if (!::inet_ntop(AF_INET, &address.sin_addr, text, sizeof text)) return;
    ip = text;
    port = ntohs(address.sin_port);
}

/// Waits for one of `events`. False when the time is over or the page ends.
bool wait_for(int handle, short events, Clock::time_point until, const std::atomic<bool>& stopping) {
    while (!stopping) {
        const auto left = std::chrono::duration_cast<std::chrono::milliseconds>(until - Clock::now());
        if (left.count() <= 0) return false;
        pollfd one{handle, events, 0};
        const int got = ::poll(&one, 1, static_cast<int>(std::min(left, slice).count()));
        if (got > 0) return true;
        if (got < 0 && errno != EINTR) return false;
    }
    return false;
}

}  // namespace

std::string remote_address(int handle) {
    std::string ip;
    int port = 0;
    name_of(true, handle, ip, port);
    return ip;
}

ShareConnection::ShareConnection(int handle, const std::atomic<bool>& stopping) : handle_(handle), stopping_(stopping) {
    // old figures must not pile up on their way to a slow phone
    const int sending = 32768, at_once = 1;
    ::setsockopt(handle, SOL_SOCKET, SO_SNDBUF, &sending, sizeof sending);
    ::setsockopt(handle, IPPROTO_TCP, TCP_NODELAY, &at_once, sizeof at_once);
}

bool ShareConnection::receive_some(Clock::time_point until) {
    if (!wait_for(handle_, POLLIN, until, stopping_)) return false;
    std::array<char, 2048> buffer;
    const auto got = ::recv(handle_, buffer.data(), buffer.size(), MSG_DONTWAIT);
    if (got < 0) return errno == EINTR || errno == EAGAIN;
    request_.append(buffer.data(), static_cast<std::size_t>(got));
    return got > 0;
}

int ShareConnection::read_request() {
    const auto until = Clock::now() + most_reading;
    std::size_t end = std::string::npos, looked = 0;
    while ((end = request_.find("\r\n\r\n", looked)) == std::string::npos) {
        if (request_.size() > most_head) return 431;
        looked = request_.size() < 3 ? 0 : request_.size() - 3;
        if (!receive_some(until)) return request_.empty() ? -1 : 408;
    }
    std::size_t body = 0;
    if (const int status = refused_status(std::string_view(request_).substr(0, end + 4), body)) return status;
    while (request_.size() < end + 4 + body)
        if (!receive_some(until)) return 408;
    request_.resize(end + 4 + body);
    return 0;
}

void ShareConnection::answer(int status, std::string_view sentence) {
    const std::string text = fmt::format(
        "HTTP/1.1 {} refused\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Length: {}\r\nCache-Control: no-store\r\n"
        "X-Content-Type-Options: nosniff\r\nConnection: close\r\n\r\n{}",
        status, sentence.size(), sentence);
    write(text.data(), text.size());
}

void ShareConnection::finish() {
    // Closed with something unread, a connection is reset, and the answer may be lost on its way.
    ::shutdown(handle_, SHUT_WR);
    const auto until = Clock::now() + std::chrono::milliseconds(100);
    std::array<char, 4096> buffer;
    for (int i = 0; i < 16; ++i)
        if (!wait_for(handle_, POLLIN, until, stopping_) || ::recv(handle_, buffer.data(), buffer.size(), MSG_DONTWAIT) <= 0) return;
}

bool ShareConnection::is_writable() const {
    if (broken_ || stopping_) return false;
    // a browser that closed the page has ended its side, too
    pollfd one{handle_, POLLRDHUP, 0};
    return ::poll(&one, 1, 0) == 0;
}

ssize_t ShareConnection::read(char* into, size_t size) {
    const std::size_t count = std::min(size, request_.size() - at_);
    std::copy_n(request_.data() + at_, count, into);
    at_ += count;
    return static_cast<ssize_t>(count);
}

ssize_t ShareConnection::write(const char* from, size_t size) {
    const auto until = Clock::now() + most_writing;
    std::size_t done = 0;
    while (!broken_ && done < size) {
        const auto sent = ::send(handle_, from + done, size - done, MSG_DONTWAIT | MSG_NOSIGNAL);
        if (sent > 0)
            done += static_cast<std::size_t>(sent);
        else if (errno == EAGAIN || errno == EWOULDBLOCK)
            broken_ = !wait_for(handle_, POLLOUT, until, stopping_);
        else if (errno != EINTR)
            broken_ = true;
    }
    return broken_ ? -1 : static_cast<ssize_t>(done);
}

void ShareConnection::get_remote_ip_and_port(std::string& ip, int& port) const {
    name_of(true, handle_, ip, port);
}

void ShareConnection::get_local_ip_and_port(std::string& ip, int& port) const {
    name_of(false, handle_, ip, port);
}

}  // namespace hushtrace
