#include "share_system.hpp"

#include <arpa/inet.h>
#include <fcntl.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <poll.h>
#include <sys/random.h>
#include <sys/resource.h>

#include <cerrno>
#include <csignal>

namespace hushtrace::share_system {
namespace {

Outcome wait(socket_t handle, short events, std::chrono::milliseconds most) {
    pollfd one{handle, events, 0};
    const int got = ::poll(&one, 1, static_cast<int>(most.count()));
    if (got > 0) return Outcome::done;
    return got == 0 || errno == EINTR ? Outcome::later : Outcome::broken;
}

Outcome outcome_of_error() { return errno == EINTR || errno == EAGAIN || errno == EWOULDBLOCK ? Outcome::later : Outcome::broken; }

}  // namespace

void claim_port(socket_t handle) {
    const int yes = 1;
    ::setsockopt(handle, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
}

void listen_for(socket_t handle, int most_waiting) { ::listen(handle, most_waiting); }

void keep_private(socket_t handle) { ::fcntl(handle, F_SETFD, FD_CLOEXEC); }

void send_without_delay(socket_t handle) {
    const int sending = 32768, at_once = 1;
    ::setsockopt(handle, SOL_SOCKET, SO_SNDBUF, &sending, sizeof sending);
    ::setsockopt(handle, IPPROTO_TCP, TCP_NODELAY, &at_once, sizeof at_once);
}

Outcome receive(socket_t handle, std::span<char> into, std::size_t& count) {
    const auto got = ::recv(handle, into.data(), into.size(), MSG_DONTWAIT);
    count = got > 0 ? static_cast<std::size_t>(got) : 0;
    return got >= 0 ? Outcome::done : outcome_of_error();
}

Outcome send(socket_t handle, std::span<const char> from, std::size_t& count) {
    const auto sent = ::send(handle, from.data(), from.size(), MSG_DONTWAIT | MSG_NOSIGNAL);
    count = sent > 0 ? static_cast<std::size_t>(sent) : 0;
    return sent > 0 ? Outcome::done : outcome_of_error();
}

Outcome wait_to_receive(socket_t handle, std::chrono::milliseconds most) { return wait(handle, POLLIN, most); }

Outcome wait_to_send(socket_t handle, std::chrono::milliseconds most) { return wait(handle, POLLOUT, most); }

bool has_hung_up(socket_t handle) {
    pollfd one{handle, POLLRDHUP, 0};
    return ::poll(&one, 1, 0) != 0;
}

void end_sending(socket_t handle) { ::shutdown(handle, SHUT_WR); }

void end_both(socket_t handle) { ::shutdown(handle, SHUT_RDWR); }

void close(socket_t handle) { ::close(handle); }

std::vector<std::string> addresses() {
    std::vector<std::string> found, loopback;
    ifaddrs* first = nullptr;
    if (::getifaddrs(&first) != 0) return {};
    for (const ifaddrs* one = first; one; one = one->ifa_next) {
        if (!one->ifa_addr || one->ifa_addr->sa_family != AF_INET || (one->ifa_flags & IFF_UP) == 0) continue;
        char text[INET_ADDRSTRLEN] = {};
        const auto* address = reinterpret_cast<const sockaddr_in*>(one->ifa_addr);
        if (!::inet_ntop(AF_INET, &address->sin_addr, text, sizeof text)) continue;
        ((one->ifa_flags & IFF_LOOPBACK) != 0 ? loopback : found).emplace_back(text);
    }
    ::freeifaddrs(first);
    found.insert(found.end(), loopback.begin(), loopback.end());
    return found;
}

bool fill_random(std::span<unsigned char> bytes) {
    while (!bytes.empty()) {
        const auto got = ::getrandom(bytes.data(), bytes.size(), 0);
        if (got < 0 && errno == EINTR) continue;
        if (got <= 0) return false;
        bytes = bytes.subspan(static_cast<std::size_t>(got));
    }
    return true;
}

void be_quiet() { ::setpriority(PRIO_PROCESS, 0, 10); }  // on Linux of this thread alone

struct WithoutSignals::Before {
    sigset_t set;
};

WithoutSignals::WithoutSignals() : before_(std::make_unique<Before>()) {
    sigset_t all;
    ::sigfillset(&all);
    ::pthread_sigmask(SIG_SETMASK, &all, &before_->set);
}

WithoutSignals::~WithoutSignals() { ::pthread_sigmask(SIG_SETMASK, &before_->set, nullptr); }

}  // namespace hushtrace::share_system
