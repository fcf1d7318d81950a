#include "share_connection.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "hushtrace/live/share_gate.hpp"
#include "share_system.hpp"

namespace hushtrace {
namespace {

using Clock = std::chrono::steady_clock;
using share_system::Outcome;

constexpr std::chrono::milliseconds slice{200};  // so often a wait looks whether the page ends

void name_of(bool remote, socket_t handle, std::string& ip, int& port) {
    sockaddr_in address{};
    socklen_t size = sizeof address;
    auto* generic = reinterpret_cast<sockaddr*>(&address);
    if ((remote ? ::getpeername(handle, generic, &size) : ::getsockname(handle, generic, &size)) != 0 || address.sin_family != AF_INET) return;
    char text[INET_ADDRSTRLEN] = {};
    if (!::inet_ntop(AF_INET, &address.sin_addr, text, sizeof text)) return;
    ip = text;
    port = ntohs(address.sin_port);
}

/// Waits by one of share_system's. False when the time is over or the page ends.
bool wait_for(Outcome (*wait)(socket_t, std::chrono::milliseconds), socket_t handle, Clock::time_point until, const std::atomic<bool>& stopping) {
    while (!stopping) {
        const auto left = std::chrono::duration_cast<std::chrono::milliseconds>(until - Clock::now());
        if (left.count() <= 0) return false;
        const Outcome outcome = wait(handle, std::min(left, slice));
        if (outcome != Outcome::later) return outcome == Outcome::done;
    }
    return false;
}

}  // namespace

std::string remote_address(socket_t handle) {
    std::string ip;
    int port = 0;
    name_of(true, handle, ip, port);
    return ip;
}

ShareConnection::ShareConnection(socket_t handle, const std::atomic<bool>& stopping) : handle_(handle), stopping_(stopping) {
    // old figures must not pile up on their way to a slow phone
    share_system::send_without_delay(handle);
}

bool ShareConnection::receive_some(Clock::time_point until) {
    if (!wait_for(share_system::wait_to_receive, handle_, until, stopping_)) return false;
    std::array<char, 2048> buffer{};
    std::size_t got = 0;
    const Outcome outcome = share_system::receive(handle_, buffer, got);
    if (outcome != Outcome::done) return outcome == Outcome::later;
    request_.append(buffer.data(), got);
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
    share_system::end_sending(handle_);
    const auto until = Clock::now() + std::chrono::milliseconds(100);
    std::array<char, 4096> buffer{};
    for (int i = 0; i < 16; ++i) {
        std::size_t got = 0;
        if (!wait_for(share_system::wait_to_receive, handle_, until, stopping_)) return;
        if (share_system::receive(handle_, buffer, got) != Outcome::done || got == 0) return;
    }
}

bool ShareConnection::is_writable() const {
    if (broken_ || stopping_) return false;
    // a browser that closed the page has ended its side, too
    return !share_system::has_hung_up(handle_);
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
        std::size_t sent = 0;
        const Outcome outcome = share_system::send(handle_, {from + done, size - done}, sent);
        done += sent;
        if (outcome == Outcome::later) broken_ = !wait_for(share_system::wait_to_send, handle_, until, stopping_);
        if (outcome == Outcome::broken) broken_ = true;
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
