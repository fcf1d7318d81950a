#include "hushtrace/live/share_page.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <thread>

#include "hushtrace/signal/error.hpp"
#include "share_routes.hpp"

namespace hushtrace {

class SharePage::Inner {
public:
    Inner(LiveBoard& board, const ShareWish& wish);
    ~Inner();

    std::vector<std::string> addresses() const;
    bool beyond() const { return wish_.address.substr(0, 4) != "127."; }
    std::size_t phones() const { return routes_.phones(); }

private:
    LiveBoard& board_;
    ShareWish wish_;
    int port_ = 0;
    ShareServer server_;
    ShareRoutes routes_;
};

SharePage::Inner::Inner(LiveBoard& board, const ShareWish& wish) : board_(board), wish_(wish), routes_(server_, board, random_token()) {
    const auto ours = own_addresses();
    const bool always = wish.address == "0.0.0.0" || wish.address.substr(0, 4) == "127.";
    if (!always && std::find(ours.begin(), ours.end(), wish.address) == ours.end())
        throw Error(ErrorKind::invalid_request, fmt::format("{} is no address of this computer; here: {}. Join the phone's network first",
                                                            wish.address, fmt::join(ours, ", ")));
    port_ = server_.open(wish.address, wish.port);
    if (port_ == 0)
        throw Error(ErrorKind::invalid_request,
                    fmt::format("port {} of {} can't be had (in use, or below 1024): name another, or none", wish.port, wish.address));
    routes_.set_port(port_);
    server_.begin();
}

SharePage::Inner::~Inner() {
    const auto until = std::chrono::steady_clock::now() + std::chrono::milliseconds(500);
    while (board_.closed() && phones() > 0 && std::chrono::steady_clock::now() < until)
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
    server_.end();
}

std::vector<std::string> SharePage::Inner::addresses() const {
    std::vector<std::string> all;
    const auto hosts = wish_.address == "0.0.0.0" ? own_addresses() : std::vector<std::string>{wish_.address};
    all.reserve(hosts.size() + 1);
    for (const std::string& host : hosts) all.push_back(fmt::format("http://{}:{}/{}", host, port_, routes_.token()));
    if (all.empty()) all.push_back(fmt::format("http://127.0.0.1:{}/{}", port_, routes_.token()));
    return all;
}

SharePage::SharePage(LiveBoard& board, const ShareWish& wish) : inner_(std::make_unique<Inner>(board, wish)) {}
SharePage::~SharePage() = default;

std::string SharePage::address() const {
    return inner_->addresses().front();
}

std::vector<std::string> SharePage::addresses() const {
    return inner_->addresses();
}

bool SharePage::beyond_this_computer() const {
    return inner_->beyond();
}

std::size_t SharePage::phones() const {
    return inner_->phones();
}

}  // namespace hushtrace
