#include "../share_system.hpp"

#include <bcrypt.h>
#include <iphlpapi.h>

#include <algorithm>

namespace hushtrace::share_system {
namespace {

Outcome wait(socket_t handle, short events, std::chrono::milliseconds most) {
    WSAPOLLFD one{handle, events, 0};
    const int got = ::WSAPoll(&one, 1, static_cast<int>(most.count()));
    return got > 0 ? Outcome::done : got == 0 ? Outcome::later : Outcome::broken;
}

Outcome outcome_of_error() {
    const int fault = ::WSAGetLastError();
    return fault == WSAEWOULDBLOCK || fault == WSAEINTR ? Outcome::later : Outcome::broken;
}

/// Windows has no call that doesn't wait on a socket that does.
void wait_for_nothing(socket_t handle) {
    u_long yes = 1;
    ::ioctlsocket(handle, static_cast<long>(FIONBIO), &yes);
}

int in_one_call(std::size_t size) { return static_cast<int>(std::min<std::size_t>(size, 1U << 20U)); }

}  // namespace

void claim_port(socket_t handle) {
    const int yes = 1;  // Windows' SO_REUSEADDR would let another program take the phones away
    ::setsockopt(handle, SOL_SOCKET, SO_EXCLUSIVEADDRUSE, reinterpret_cast<const char*>(&yes), sizeof yes);
}

void listen_for(socket_t handle, int most_waiting) { ::listen(handle, most_waiting); }

void keep_private(socket_t handle) { ::SetHandleInformation(reinterpret_cast<HANDLE>(handle), HANDLE_FLAG_INHERIT, 0); }

void send_without_delay(socket_t handle) {
    const int sending = 32768, at_once = 1;
    ::setsockopt(handle, SOL_SOCKET, SO_SNDBUF, reinterpret_cast<const char*>(&sending), sizeof sending);
    ::setsockopt(handle, IPPROTO_TCP, TCP_NODELAY, reinterpret_cast<const char*>(&at_once), sizeof at_once);
}

Outcome receive(socket_t handle, std::span<char> into, std::size_t& count) {
    wait_for_nothing(handle);
    const int got = ::recv(handle, into.data(), in_one_call(into.size()), 0);
    count = got > 0 ? static_cast<std::size_t>(got) : 0;
    return got >= 0 ? Outcome::done : outcome_of_error();
}

Outcome send(socket_t handle, std::span<const char> from, std::size_t& count) {
    wait_for_nothing(handle);
    const int sent = ::send(handle, from.data(), in_one_call(from.size()), 0);
    count = sent > 0 ? static_cast<std::size_t>(sent) : 0;
    return sent > 0 ? Outcome::done : outcome_of_error();
}

Outcome wait_to_receive(socket_t handle, std::chrono::milliseconds most) { return wait(handle, POLLRDNORM, most); }

Outcome wait_to_send(socket_t handle, std::chrono::milliseconds most) { return wait(handle, POLLWRNORM, most); }

bool has_hung_up(socket_t handle) {
    WSAPOLLFD one{handle, POLLRDNORM, 0};
    const int got = ::WSAPoll(&one, 1, 0);
    if (got <= 0) return got < 0;
    if ((one.revents & (POLLHUP | POLLERR | POLLNVAL)) != 0) return true;
    char next = 0;
    return ::recv(handle, &next, 1, MSG_PEEK) <= 0;
}

void end_sending(socket_t handle) { ::shutdown(handle, SD_SEND); }

void end_both(socket_t handle) { ::shutdown(handle, SD_BOTH); }

void close(socket_t handle) { ::closesocket(handle); }

std::vector<std::string> addresses() {
    ULONG size = 1U << 15U;
    std::vector<unsigned char> room;
    ULONG result = ERROR_BUFFER_OVERFLOW;
    for (int tries = 0; tries < 4 && result == ERROR_BUFFER_OVERFLOW; ++tries) {
        room.resize(size);
        constexpr ULONG flags = GAA_FLAG_SKIP_ANYCAST | GAA_FLAG_SKIP_MULTICAST | GAA_FLAG_SKIP_DNS_SERVER;
        result = ::GetAdaptersAddresses(AF_INET, flags, nullptr, reinterpret_cast<IP_ADAPTER_ADDRESSES*>(room.data()), &size);
    }
    if (result != ERROR_SUCCESS) return {};
    std::vector<std::string> found, loopback;
    for (const auto* one = reinterpret_cast<const IP_ADAPTER_ADDRESSES*>(room.data()); one; one = one->Next) {
        if (one->OperStatus != IfOperStatusUp) continue;
        for (const auto* has = one->FirstUnicastAddress; has; has = has->Next) {
            char text[INET_ADDRSTRLEN] = {};
            const auto* address = reinterpret_cast<const sockaddr_in*>(has->Address.lpSockaddr);
            if (address->sin_family != AF_INET || !::inet_ntop(AF_INET, &address->sin_addr, text, sizeof text)) continue;
            (one->IfType == IF_TYPE_SOFTWARE_LOOPBACK ? loopback : found).emplace_back(text);
        }
    }
    found.insert(found.end(), loopback.begin(), loopback.end());
    return found;
}

bool fill_random(std::span<unsigned char> bytes) {
    return ::BCryptGenRandom(nullptr, bytes.data(), static_cast<ULONG>(bytes.size()), BCRYPT_USE_SYSTEM_PREFERRED_RNG) >= 0;
}

void be_quiet() { ::SetThreadPriority(::GetCurrentThread(), THREAD_PRIORITY_BELOW_NORMAL); }

struct WithoutSignals::Before {};
WithoutSignals::WithoutSignals() = default;  // Windows gives Ctrl-C to a thread of its own
WithoutSignals::~WithoutSignals() = default;

}  // namespace hushtrace::share_system
