#include "share_server.hpp"

#include <algorithm>
#include <array>
#include <memory>

#include "hushtrace/live/share_page.hpp"
#include "share_system.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t strangers_at_once = 8, guests_at_once = SharePage::most_phones + 4;  // threads
constexpr std::size_t most_guest_addresses = 16;

/// Hands a connection on by itself (ShareServer::process_and_close_socket), so there is nothing to queue.
class AtOnce : public httplib::TaskQueue {
public:
    void enqueue(std::function<void()> task) override { task(); }
    void shutdown() override {}
};

double seconds_now() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

/// A thread that takes no signals (Ctrl-C is for the session's) and yields the processor to whoever measures.
template <typename Work>
std::thread quiet_thread(Work work) {
    const share_system::WithoutSignals meanwhile;
    return std::thread([work] {
        share_system::be_quiet();
        work();
    });
}

void answer_without_waiting(socket_t handle, std::string_view status_line, std::string_view sentence) {
    std::array<char, 4096> unread{};
    std::size_t count = unread.size();
    for (int i = 0; i < 4 && count == unread.size(); ++i)
        if (share_system::receive(handle, unread, count) != share_system::Outcome::done) break;
    const std::string text = "HTTP/1.1 " + std::string(status_line) + "\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Length: " +
                             std::to_string(sentence.size()) + "\r\nRetry-After: 2\r\nConnection: close\r\n\r\n" + std::string(sentence);
    static_cast<void>(share_system::send(handle, text, count));
    share_system::end_both(handle);
    share_system::close(handle);
}

}  // namespace

bool Places::enter(const std::string& address) {
    const std::lock_guard lock(mutex_);
    if (taken_ >= all_) return false;
    std::size_t& of_this = of_[address];
    if (of_this >= each_) return false;
    ++of_this;
    ++taken_;
    return true;
}

void Places::leave(const std::string& address) {
    const std::lock_guard lock(mutex_);
    const auto found = of_.find(address);
    if (found == of_.end()) return;
    --taken_;
    if (--found->second == 0) of_.erase(found);
}

std::size_t Places::taken() const {
    const std::lock_guard lock(mutex_);
    return taken_;
}

thread_local ShareServer::Visit* ShareServer::visit_ = nullptr;

ShareServer::ShareServer()
    : guest_places_(SharePage::most_connections_each, SharePage::most_connections / 2),
      stranger_places_(SharePage::most_connections_each / 2, SharePage::most_connections / 2),
      guest_rate_({SharePage::requests_per_second_each, 2 * SharePage::requests_per_second_each},
                  {SharePage::requests_per_second, 2 * SharePage::requests_per_second}, most_guest_addresses),
      stranger_rate_({SharePage::requests_per_second_each, 2 * SharePage::requests_per_second_each},
                     {SharePage::requests_per_second, 2 * SharePage::requests_per_second}, 64) {
    new_task_queue = [] { return new AtOnce; };  // the library deletes it
    set_address_family(AF_INET);
    // The library's own choice lets another program bind the same port and take phones away.
    set_socket_options([this](socket_t handle) {
        share_system::claim_port(handle);
        listening_ = handle;
    });
}

ShareServer::~ShareServer() {
    end();
}

int ShareServer::open(const std::string& address, int port) {
    address_ = address;
    if (port == 0) {
        port_ = std::max(0, bind_to_any_port(address));
    } else {
        port_ = bind_to_port(address, port) ? port : 0;
    }
    if (port_ != 0) share_system::listen_for(listening_, 64);  // the library's queue of 5 is soon full
    return port_;
}

void ShareServer::begin() {
    for (std::size_t i = 0; i < strangers_at_once + guests_at_once; ++i) threads_.push_back(quiet_thread([this] { work(); }));
    accepting_ = true;
    threads_.push_back(quiet_thread([this] { accept_all(); }));
    while (!is_running()) std::this_thread::sleep_for(std::chrono::milliseconds(1));
}

void ShareServer::accept_all() {
    // The library gives up listening on errors that one connection alone may cause.
    while (!stopping_) {
        listen_after_bind();
        while (!stopping_) {
            std::this_thread::sleep_for(std::chrono::milliseconds(100));
            if (open(address_, port_) != 0) break;
        }
    }
    accepting_ = false;
}

void ShareServer::end() {
    if (threads_.empty()) return;
    {
        const std::lock_guard lock(mutex_);
        stopping_ = true;
    }
    some_.notify_all();
    for (bool told = false; accepting_; std::this_thread::sleep_for(std::chrono::milliseconds(1))) {
        if (told || !is_running()) continue;
        stop();
        told = true;
    }
    for (std::thread& one : threads_) one.join();
    threads_.clear();
}

bool ShareServer::process_and_close_socket(socket_t handle) {
    share_system::keep_private(handle);
    Visit visit{handle, remote_address(handle), false};
    visit.guest = is_guest(visit.address);
    if (visit.address.empty()) {
        share_system::close(handle);
    } else if (!(visit.guest ? guest_rate_ : stranger_rate_).admit(visit.address, seconds_now())) {
        answer_without_waiting(handle, "429 too many", "Too many requests. Wait two seconds, then try again.");
    } else if (!places(visit).enter(visit.address)) {
        answer_without_waiting(handle, "503 full", "Too many connections. Close the page elsewhere, then try again.");
    } else {
        {
            const std::lock_guard lock(mutex_);
            (visit.guest ? guests_ : strangers_).push_back(std::move(visit));  // no more than there are places
        }
        some_.notify_all();
    }
    return true;
}

bool ShareServer::is_guest(const std::string& address) {
    const std::lock_guard lock(mutex_);
    return std::find(guest_addresses_.begin(), guest_addresses_.end(), address) != guest_addresses_.end();
}

void ShareServer::make_guest() {
    if (!visit_) return;
    const std::lock_guard lock(mutex_);
    std::erase(guest_addresses_, visit_->address);
    guest_addresses_.push_back(visit_->address);
    if (guest_addresses_.size() > most_guest_addresses) guest_addresses_.pop_front();
    if (visit_->guest || !guest_places_.enter(visit_->address)) return;
    stranger_places_.leave(visit_->address);
    visit_->guest = true;
    --strangers_served_;
    some_.notify_one();
}

void ShareServer::work() {
    for (;;) {
        Visit visit;
        {
            std::unique_lock lock(mutex_);
            const auto stranger_next = [this] { return !strangers_.empty() && strangers_served_ < strangers_at_once; };
            some_.wait(lock, [&] { return stopping_ || !guests_.empty() || stranger_next(); });
            auto& from = guests_.empty() ? strangers_ : guests_;
            if (from.empty()) return;
            visit = std::move(from.front());
            from.pop_front();
            if (!visit.guest) ++strangers_served_;
        }
        visit_ = &visit;
        serve(visit.handle);
        visit_ = nullptr;
        share_system::close(visit.handle);
        places(visit).leave(visit.address);
        if (visit.guest) continue;
        const std::lock_guard lock(mutex_);
        --strangers_served_;
        some_.notify_one();
    }
}

void ShareServer::serve(socket_t handle) {
    try {
        ShareConnection connection(handle, stopping_);
        const int status = connection.read_request();
        bool closed = false;
        if (status == 0) process_request(connection, true, closed, nullptr);
        if (status > 0) connection.answer(status, status == 404 ? "" : "This is no request that the page makes.");
        if (status >= 0) connection.finish();
    } catch (const std::exception&) {
        // no memory for it: this request's loss alone
    }
}

}  // namespace hushtrace
