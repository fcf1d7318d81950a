#pragma once
#include <httplib.h>

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <deque>
#include <functional>
#include <map>
#include <mutex>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "hushtrace/live/share_gate.hpp"
#include "share_connection.hpp"

namespace hushtrace {

/// How many of each address and in all.
class Places {
public:
    Places(std::size_t each, std::size_t all) : each_(each), all_(all) {}
    bool enter(const std::string& address);
    void leave(const std::string& address);
    std::size_t taken() const;

private:
    std::size_t each_, all_, taken_ = 0;
    std::map<std::string, std::size_t> of_;
    mutable std::mutex mutex_;
};

/// The library's server behind our own door. The thread that accepts only counts and hands on; a connection carries one
/// request, is read by ShareConnection, and is served by one of a fixed number of threads.
///
/// Whoever has shown the token is a guest: guests have places, a pace and threads that strangers cannot take, so that the
/// buttons answer also while strangers fill everything that is theirs.
class ShareServer : public httplib::Server {
public:
    ShareServer();
    ~ShareServer() override;
    /// Binds. Returns the port, or 0 when it can't be had.
    int open(const std::string& address, int port);
    void begin();
    /// Ends all connections and threads.
    void end();
    const std::atomic<bool>& stopping() const { return stopping_; }
    /// From a handler: the request that this thread serves has shown the token.
    void make_guest();
    /// Serves one connection in the calling thread, whatever its pace and place; closes nothing.
    void serve(socket_t handle);

private:
    struct Visit {
        socket_t handle = INVALID_SOCKET;
        std::string address;  ///< the other side's
        bool guest = false;
    };
    bool process_and_close_socket(socket_t handle) override;
    void accept_all();
    void work();
    bool is_guest(const std::string& address);
    Places& places(const Visit& visit) { return visit.guest ? guest_places_ : stranger_places_; }

    std::string address_;
    int port_ = 0;
    socket_t listening_ = INVALID_SOCKET;
    std::atomic<bool> stopping_ = false, accepting_ = false;
    Places guest_places_, stranger_places_;
    RateGate guest_rate_, stranger_rate_;  ///< the accepting thread's alone
    std::mutex mutex_;                     ///< of all below
    std::condition_variable some_;
    std::deque<Visit> guests_, strangers_;  ///< that wait for a thread
    std::size_t strangers_served_ = 0;
    std::deque<std::string> guest_addresses_;  ///< the latest last
    std::vector<std::thread> threads_;
    static thread_local Visit* visit_;
};

}  // namespace hushtrace
