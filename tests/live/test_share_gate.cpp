#include <catch2/catch.hpp>
#include <random>
#include <set>
#include <string>

#include "hushtrace/live/share_gate.hpp"
#include "hushtrace/live/share_page.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

int status_of(const std::string& head) {
    std::size_t body = 0;
    return refused_status(head, body);
}

std::string get(const std::string& target, const std::string& more = "") {
    return "GET " + target + " HTTP/1.1\r\nHost: 127.0.0.1:80\r\n" + more + "\r\n";
}

std::string post(const std::string& more) {
    return "POST /T/ask HTTP/1.1\r\nHost: 127.0.0.1:80\r\n" + more + "\r\n";
}

}  // namespace

TEST_CASE("a token holds 128 bits and is never the same", "[live]") {
    std::set<std::string> seen;
    std::set<char> letters;
    for (int i = 0; i < 200; ++i) {
        const std::string token = random_token();
        CHECK(token.size() == 26);  // 128 / 5, rounded up
        CHECK(token.find_first_not_of("ABCDEFGHIJKLMNOPQRSTUVWXYZ234567") == std::string::npos);
        letters.insert(token.begin(), token.end());
        seen.insert(token);
    }
    CHECK(seen.size() == 200);
    CHECK(letters.size() == 32);
}

TEST_CASE("a token fits itself alone, in capitals or small letters", "[live]") {
    CHECK(same_token("ABZ27", "ABZ27"));
    CHECK(same_token("abz27", "ABZ27"));
    for (const char* other : {"", "ABZ2", "ABZ277", "ABZ26", "BBZ27", "ABZ2\x17", "\x01\x02Z27", "ABZ2W"}) CHECK_FALSE(same_token(other, "ABZ27"));
    CHECK_FALSE(same_token("", ""));
    CHECK_FALSE(same_token("{", "["));  // 32 apart as small letters and capitals are, and no letters
}

TEST_CASE("a request of our page is fit", "[live]") {
    CHECK(status_of(get("/ABC")) == 0);
    CHECK(status_of(get("/ABC/events?after=12", "Accept: text/event-stream\r\nAccept-Language: de;q=0.9\r\nCookie: a=b; c=\"d\"\r\n")) == 0);
    std::size_t body = 99;
    CHECK(refused_status(post("Content-Length: 10\r\nContent-Type: text/plain;charset=UTF-8\r\n"), body) == 0);
    CHECK(body == 10);
}

TEST_CASE("what our page never sends is refused before anything acts on it", "[live]") {
    struct Case {
        std::string head;
        int status;
    };
    const Case cases[] = {
        {"", 400},
        {"\r\n\r\n", 400},
        {"GET /\r\n\r\n", 400},
        {"GET  HTTP/1.1\r\nHost: a\r\n\r\n", 404},
        {"GET / HTTP/2.0\r\nHost: a\r\n\r\n", 400},
        {"GET / HTTP/1.1\r\n\r\n", 400},                                 // no Host
        {"GET / HTTP/1.1\nHost: a\n\n", 400},                            // bare line feeds
        {get("/", "Host: b\r\n"), 400},                                  // two of them
        {get("/", " folded\r\n"), 400},
        {get("/", "no colon\r\n"), 400},
        {get("/", "Na me: x\r\n"), 400},
        {get("/", ": x\r\n"), 400},
        {get("/", std::string("A: \0b\r\n", 7)), 400},
        {get("/", "A: \x1b[2J\r\n"), 400},
        {get("/", "A: b\rc\r\n"), 400},
        {get("/", "Transfer-Encoding: chunked\r\n"), 400},
        {get("/", "RANGE: bytes=0-,0-,0-\r\n"), 400},
        {get("/", "Upgrade: h2c\r\n"), 400},
        {get("/", "Expect: 100-continue\r\n"), 417},
        {get("/", "Content-Length: 5\r\n"), 400},                        // a GET with a body
        {get("/", "A: b\r\n") + "more", 400},
        {get("/", "X: " + std::string(most_head, 'a') + "\r\n"), 431},
        {get("/" + std::string(most_target, 'a')), 414},
        {get("/%2e%2e/etc/passwd"), 404},
        {get("/<script>"), 404},
        {get("http://example.org/"), 404},
        {"OPTIONS / HTTP/1.1\r\nHost: a\r\n\r\n", 404},
        {"HEAD / HTTP/1.1\r\nHost: a\r\n\r\n", 404},
        {"PRI * HTTP/1.1\r\nHost: a\r\n\r\n", 404},
        {post(""), 411},
        {post("Content-Length: 65\r\n"), 413},
        {post("Content-Length: 99999999999999999999999\r\n"), 413},
        {post("Content-Length: -1\r\n"), 400},
        {post("Content-Length: 5, 5\r\n"), 400},
        {post("Content-Length: \r\n"), 400},
        {post("Content-Length: 5\r\nContent-Length: 5\r\n"), 400},
        {post("Content-Length: 5\r\nContent-Type: multipart/form-data; boundary=x\r\n"), 415},
        {post("Content-Length: 5\r\nContent-Type: application/x-www-form-urlencoded\r\n"), 415},
        {post("Content-Length: 5\r\nContent-Encoding: gzip\r\n"), 415},
    };
    for (const Case& one : cases) {
        CAPTURE(one.head.substr(0, 120));
        CHECK(status_of(one.head) == one.status);
    }
}

TEST_CASE("no bytes at all make the check of a request fail otherwise than by its answer", "[live]") {
    std::mt19937 random(20260131);
    const std::string good = post("Content-Length: 10\r\nContent-Type: text/plain\r\nAccept: */*\r\n");
    std::size_t fit = 0;
    for (int i = 0; i < 20000; ++i) {
        std::string head = good;
        for (unsigned changes = random() % 4; changes > 0; --changes) {
            const std::size_t at = random() % head.size();
            if (random() % 3 == 0)
                head.erase(at, random() % 5);
            else
                head[at] = static_cast<char>(random() % 256);
        }
        std::size_t body = 0;
        const int status = refused_status(head, body);
        CHECK((status == 0 || (status >= 400 && status <= 431)));
        CHECK(body <= most_body);
        fit += status == 0 ? 1 : 0;
    }
    CHECK(fit > 1000);   // the ones left as they were, at least
    CHECK(fit < 15000);
}

TEST_CASE("the Host header must name where the connection came in", "[live]") {
    CHECK(host_is_ours("192.168.1.20:8080", "192.168.1.20", 8080));
    CHECK(host_is_ours("localhost:8080", "127.0.0.1", 8080));
    CHECK(host_is_ours("192.168.1.20", "192.168.1.20", 80));
    for (const char* other : {"", "192.168.1.20", "192.168.1.20:80", "192.168.1.2:8080", "localhost:8080", "evil.example:8080",
                              "192.168.1.20:8080.evil"})
        CHECK_FALSE(host_is_ours(other, "192.168.1.20", 8080));
    CHECK_FALSE(host_is_ours("localhost:8080", "", 8080));
}

TEST_CASE("other pages' requests are told by what the browser says of them", "[live]") {
    CHECK(comes_from_our_page("", "", "1.2.3.4:80"));
    CHECK(comes_from_our_page("http://1.2.3.4:80", "same-origin", "1.2.3.4:80"));
    CHECK_FALSE(comes_from_our_page("http://evil.example", "", "1.2.3.4:80"));
    CHECK_FALSE(comes_from_our_page("null", "", "1.2.3.4:80"));
    CHECK_FALSE(comes_from_our_page("https://1.2.3.4:80", "", "1.2.3.4:80"));
    CHECK_FALSE(comes_from_our_page("", "cross-site", "1.2.3.4:80"));
}

TEST_CASE("a flood from one address is thinned to its share and leaves the others theirs", "[live]") {
    RateGate gate({20, 40}, {100, 200}, 64);
    int flood = 0, good = 0;
    for (int i = 0; i < 10000; ++i) {
        const double now_s = 0.001 * i;  // 1000 a second, ten seconds
        flood += gate.admit("10.0.0.66", now_s) ? 1 : 0;
        if (i % 100 == 0) good += gate.admit("10.0.0.7", now_s) ? 1 : 0;
    }
    CHECK(flood == Approx(40 + 20 * 10).margin(2));  // burst and pace
    CHECK(good == 100);
}

TEST_CASE("many addresses together are held to the pace of all, in bounded memory", "[live]") {
    RateGate gate({20, 40}, {100, 200}, 64);
    int let = 0;
    for (int i = 0; i < 20000; ++i) let += gate.admit(std::to_string(i), 0.001 * i) ? 1 : 0;
    CHECK(let <= 200 + 100 * 20 + 2);
    CHECK(let >= 400);  // those of known addresses, and the strangers' one account
}

TEST_CASE("an address is read with or without a port", "[live]") {
    CHECK(share_wish("").address == "127.0.0.1");
    CHECK(share_wish("").port == 0);
    CHECK(share_wish(":8080").address == "127.0.0.1");
    CHECK(share_wish("192.168.1.20:8080").address == "192.168.1.20");
    CHECK(share_wish("192.168.1.20:8080").port == 8080);
    CHECK(share_wish("localhost:65535").port == 65535);
    for (const char* wrong : {"a", "1.2.3", "1.2.3.4.5", "1.2.3.256", "1.2.3.4:", "1.2.3.4:-1", "1.2.3.4:65536", "1.2.3.4:80x", "::1", "[::1]:80",
                              "http://1.2.3.4", "1.2.3.4 ", "\x1b[2J"})
        CHECK_THROWS_AS(share_wish(wrong), Error);
    CHECK_THROWS_WITH(share_wish("a\r\n\x1b[2J"), Catch::Contains("address 'a???[2J' must"));
    CHECK_THROWS_WITH(share_wish(std::string(59, 'a') + "\xC3\xA4"), Catch::Contains("aaa...'"));
}
