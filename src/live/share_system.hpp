#pragma once
#include <httplib.h>

#include <chrono>
#include <cstddef>
#include <memory>
#include <span>
#include <string>
#include <thread>
#include <vector>

/// What the phone page asks of the system: its sockets, its threads, its random numbers. windows/share_system.cpp has the same for
/// Windows.
namespace hushtrace::share_system {

/// What came of a call that must not wait.
enum class Outcome { done, later, broken };

/// The port is for this program alone, and is had again soon after the program's end.
void claim_port(socket_t handle);
/// How many may wait to be accepted.
void listen_for(socket_t handle, int most_waiting);
/// Not handed on to programs that this one starts.
void keep_private(socket_t handle);
/// Little is kept for a slow receiver, and nothing waits to be sent together with more.
void send_without_delay(socket_t handle);
/// `count` are the bytes received; `done` with 0 when the other side has ended.
Outcome receive(socket_t handle, std::span<char> into, std::size_t& count);
Outcome send(socket_t handle, std::span<const char> from, std::size_t& count);
/// Until something can be received, or sent. Waits `most` at the longest.
Outcome wait_to_receive(socket_t handle, std::chrono::milliseconds most);
Outcome wait_to_send(socket_t handle, std::chrono::milliseconds most);
/// The other side has closed, or the connection is broken; never waits.
bool has_hung_up(socket_t handle);
void end_sending(socket_t handle);
void end_both(socket_t handle);
void close(socket_t handle);

/// The IPv4 addresses of this computer that are up, those of its own loop last; empty where they can't be learnt.
std::vector<std::string> addresses();
/// False when the system gives none.
bool fill_random(std::span<unsigned char> bytes);

/// For a thread that starts: yields the processor to whoever measures.
void be_quiet();
/// While one of these lives, threads that start take no signals: Ctrl-C is for the session's.
class WithoutSignals {
public:
    WithoutSignals();
    ~WithoutSignals();
    WithoutSignals(const WithoutSignals&) = delete;
    WithoutSignals& operator=(const WithoutSignals&) = delete;

private:
    struct Before;
    std::unique_ptr<Before> before_;
};

}  // namespace hushtrace::share_system
