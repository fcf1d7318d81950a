#pragma once
#include <httplib.h>

#include <atomic>
#include <chrono>
#include <string>
#include <string_view>

namespace hushtrace {

/// One phone's connection as the server library sees it. The whole request is read before the library gets any of it, by
/// one deadline for all, so a client that sends a byte now and then holds a thread no longer than that; what the library
/// parses is bounded and plain.
class ShareConnection : public httplib::Stream {
public:
    static constexpr std::chrono::milliseconds most_reading{3000}, most_writing{4000};  ///< a request; one piece of an answer

    ShareConnection(socket_t handle, const std::atomic<bool>& stopping);
    /// Reads the request. Returns 0 when it may be handed on, an HTTP status to refuse it with, or -1 where nobody
    /// is left to be told.
    int read_request();
    /// Ends the answer; lets the other side read it before the connection is closed.
    void finish();
    /// A short answer without the library.
    void answer(int status, std::string_view sentence);

    bool is_readable() const override { return at_ < request_.size(); }
    bool is_writable() const override;
    ssize_t read(char* into, size_t size) override;
    ssize_t write(const char* from, size_t size) override;
    void get_remote_ip_and_port(std::string& ip, int& port) const override;
    void get_local_ip_and_port(std::string& ip, int& port) const override;
    socket_t socket() const override { return handle_; }

private:
    bool receive_some(std::chrono::steady_clock::time_point until);

    socket_t handle_;
    const std::atomic<bool>& stopping_;
    std::string request_;
    std::size_t at_ = 0;
    bool broken_ = false;
};

/// The other side's address; empty when it is gone.
std::string remote_address(socket_t handle);

}  // namespace hushtrace
