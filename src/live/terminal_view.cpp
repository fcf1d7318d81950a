#define NCURSES_WIDECHAR 1
#define NCURSES_NOMACROS 1
#include "hushtrace/live/terminal_view.hpp"

#include <fcntl.h>
#include <langinfo.h>
#include <locale.h>
#include <ncurses.h>
#include <poll.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <memory>
#include <optional>
#include <string>
#include <thread>
#include <utility>

#include "hushtrace/live/address_screen.hpp"
#include "hushtrace/live/live_screen.hpp"
#include "hushtrace/signal/error.hpp"
#include "terminal_abilities.hpp"
#include "terminal_guard.hpp"

namespace hushtrace {
namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;
constexpr auto least_between_frames = 33ms;
constexpr auto news_lasts_s = 6.0;

/// A terminal's file that is closed at the end; -1 where there is none.
class TerminalFile {
public:
    TerminalFile() : fd_(open("/dev/tty", O_RDWR | O_CLOEXEC | O_NOCTTY)) {}
    ~TerminalFile() {
        if (fd_ >= 0) close(fd_);
    }
    TerminalFile(const TerminalFile&) = delete;
    TerminalFile& operator=(const TerminalFile&) = delete;
    int fd() const { return fd_; }
    bool in_foreground() const { return fd_ >= 0 && tcgetpgrp(fd_) == getpgrp(); }

private:
    int fd_;
};

/// The letters of the user's locale, for this thread alone: the rest of the program keeps the plain ones, whose numbers it reads.
class LettersOfTheUser {
public:
    LettersOfTheUser() : ours_(newlocale(LC_CTYPE_MASK, "", nullptr)) {
        if (ours_ != nullptr) before_ = uselocale(ours_);
    }
    ~LettersOfTheUser() {
        if (ours_ == nullptr) return;
        uselocale(before_);
        freelocale(ours_);
    }
    LettersOfTheUser(const LettersOfTheUser&) = delete;
    LettersOfTheUser& operator=(const LettersOfTheUser&) = delete;
    bool unicode() const { return std::strcmp(nl_langinfo(CODESET), "UTF-8") == 0; }

private:
    locale_t ours_, before_ = nullptr;
};

/// Gives up a terminal that takes nothing any more, so that the end of the program does not hang on it.
class StuckWatch {
public:
    StuckWatch(LiveBoard& board, int terminal)
        : thread_([this, &board, terminal] {
              while (!done_ && !board.closed()) std::this_thread::sleep_for(50ms);
              for (int waited = 0; waited < 40 && !done_; ++waited) std::this_thread::sleep_for(50ms);
              while (!done_) {
                  tcflow(terminal, TCOON);
                  tcflush(terminal, TCOFLUSH);
                  std::this_thread::sleep_for(20ms);
              }
          }) {}
    ~StuckWatch() {
        done_ = true;
        thread_.join();
    }
    StuckWatch(const StuckWatch&) = delete;
    StuckWatch& operator=(const StuckWatch&) = delete;

private:
    std::atomic<bool> done_ = false;
    std::thread thread_;
};

/// The library's screen, from its making until the terminal is as it was.
class Screen {
public:
    Screen(const TerminalFile& terminal, bool unicode) : fd_(terminal.fd()), unicode_(unicode), guard_(terminal.fd()) {
        const int copy = fcntl(fd_, F_DUPFD_CLOEXEC, 3);
        stream_.reset(copy < 0 ? nullptr : fdopen(copy, "r+"));
        if (stream_) screen_ = newterm(nullptr, stream_.get(), stream_.get());
        if (screen_ == nullptr) throw Error(ErrorKind::invalid_request, "the terminal can't show the moving view: use --plain");
        cbreak();
        noecho();
        nonl();
        curs_set(0);
        keypad(stdscr, TRUE);
        nodelay(stdscr, TRUE);
        set_escdelay(25);
        intrflush(stdscr, FALSE);
        termios modes{};
        if (tcgetattr(fd_, &modes) == 0) {  // Ctrl-S is for terminals of paper
            modes.c_iflag &= ~static_cast<tcflag_t>(IXON);
            tcsetattr(fd_, TCSANOW, &modes);
            def_prog_mode();
        }
        choose_colours();
        guard_.watch(terminal_text("sgr0") + terminal_text("op") + terminal_text("cnorm") + terminal_text("rmkx") + terminal_text("rmcup"));
    }
    ~Screen() {
        if (isendwin() == FALSE) endwin();
        delscreen(screen_);
    }
    Screen(const Screen&) = delete;
    Screen& operator=(const Screen&) = delete;

    TerminalGuard& guard() { return guard_; }

    std::optional<int> key() {
        const int code = getch();
        if (code == ERR) return std::nullopt;
        if (code == KEY_RESIZE) changed_ = true;
        if (code == KEY_UP) return key_up;
        if (code == KEY_DOWN) return key_down;
        return code < 0x80 ? std::optional(code) : std::nullopt;
    }
    /// Whether all must be drawn anew.
    bool changed() { return std::exchange(changed_, false); }
    void redraw() {
        clearok(curscr, TRUE);
        changed_ = true;
    }
    bool takes_more() const {
        pollfd one{fd_, POLLOUT, 0};
        return poll(&one, 1, 0) == 1 && (one.revents & POLLOUT) != 0;
    }
    bool gone() const {
        pollfd one{fd_, 0, 0};
        return poll(&one, 1, 0) == 1 && (one.revents & (POLLHUP | POLLERR | POLLNVAL)) != 0;
    }
    void leave() { endwin(); }
    void come_back() {
        ::refresh();
        redraw();
    }

    int rows() const { return getmaxy(stdscr); }
    int width() const { return getmaxx(stdscr); }
    bool unicode() const { return unicode_; }

    void show(const ScreenGrid& grid) {
        for (int row = 0; row < grid.rows(); ++row)
            for (int column = 0; column < grid.columns(); ++column) {
                const ScreenCell& cell = grid.at(row, column);
                if (cell.symbol == 0) continue;
                const std::array<wchar_t, 2> text = {static_cast<wchar_t>(cell.symbol), 0};
                const Look look = looks_[static_cast<std::size_t>(cell.tint)];
                cchar_t shown;
                setcchar(&shown, text.data(), look.attributes, look.pair, nullptr);
                mvadd_wch(row, column, &shown);
            }
        ::refresh();
    }

private:
    struct Look {
        attr_t attributes = A_NORMAL;
        short pair = 0;
    };
    struct Closes {
        void operator()(std::FILE* file) const { std::fclose(file); }
    };

    Look& look(Tint tint) { return looks_[static_cast<std::size_t>(tint)]; }

    /// Blue and orange are told apart by nearly everybody who can't tell red from green. Ground and letters are both set, so that it
    /// is the same on dark and on light terminals.
    void choose_colours() {
        look(Tint::strong) = {A_BOLD, 0};
        look(Tint::bar) = {A_REVERSE, 0};
        look(Tint::good) = {A_BOLD, 0};
        look(Tint::bad) = {A_REVERSE | A_BOLD, 0};
        const char* const no_colour = std::getenv("NO_COLOR");
        if ((no_colour != nullptr && *no_colour != '\0') || !has_colors()) return;
        start_color();
        use_default_colors();
        const bool many = COLORS >= 256;
        const auto pair = [this](Tint tint, short number, int ink, int paper) {
            if (init_pair(number, static_cast<short>(ink), static_cast<short>(paper)) == OK) look(tint) = {A_NORMAL, number};
        };
        pair(Tint::good, 1, many ? 231 : COLOR_WHITE, many ? 25 : COLOR_BLUE);
        pair(Tint::bad, 2, many ? 16 : COLOR_BLACK, many ? 208 : COLOR_YELLOW);
        pair(Tint::neutral, 3, many ? 16 : COLOR_BLACK, many ? 250 : COLOR_WHITE);
    }

    int fd_;
    bool unicode_, changed_ = true;
    TerminalGuard guard_;  // outlives the screen: it restores what the library was told to change
    std::unique_ptr<std::FILE, Closes> stream_;
    SCREEN* screen_ = nullptr;
    std::array<Look, 6> looks_;
};

/// What happened last, as long as it is news.
class News {
public:
    void look(const LiveBoard& board) {
        for (LiveEvent& event : board.events_after(seen_)) {
            seen_ = event.number;
            last_ = std::move(event);
        }
    }
    std::string text(double now_s) const { return seen_ > 0 && now_s - last_.time_s < news_lasts_s ? last_.text : ""; }

private:
    std::uint64_t seen_ = 0;
    LiveEvent last_;
};

double unheard_s(const LiveSnapshot& snapshot) {
    if (snapshot.heard_at == Clock::time_point{}) return 0;
    return std::chrono::duration<double>(Clock::now() - snapshot.heard_at).count();
}

class View {
public:
    View(LiveBoard& board, const TerminalFile& terminal, Screen& screen, const std::string& page_address)
        : board_(board), terminal_(terminal), screen_(screen), page_address_(page_address) {}

    void run() {
        while (!board_.closed() && !screen_.gone()) {
            const auto snapshot = board_.wait_beyond(drawn_, 25ms);
            obey_signals();
            if (!terminal_.in_foreground()) {  // `bg` after Ctrl-Z: the screen belongs to somebody else
                away_ = true;
                std::this_thread::sleep_for(50ms);
                continue;
            }
            if (std::exchange(away_, false)) screen_.come_back();
            while (const auto key = screen_.key())
                if ((*key == 'p' || *key == 'P') && !page_address_.empty())
                    shows_page_ = !shows_page_;
                else if (const auto request = request_of_key(*key, *snapshot)) board_.ask(*request);
            draw_when_due(*snapshot);
        }
        if (screen_.gone()) board_.ask(LiveRequest::stop);
    }

private:
    void obey_signals() {
        if (screen_.guard().end_asked() && !std::exchange(end_passed_on_, true)) board_.ask(LiveRequest::stop);
        if (screen_.guard().pause_asked()) {
            screen_.leave();
            screen_.guard().pause();
            away_ = true;
        }
        if (screen_.guard().continued()) away_ = true;
    }

    void draw_when_due(const LiveSnapshot& snapshot) {
        const auto now = Clock::now();
        const bool due = snapshot.number != drawn_ || now - drawn_at_ > 300ms;
        if (now - drawn_at_ < least_between_frames || (due && !screen_.takes_more())) {
            std::this_thread::sleep_for(5ms);
            return;
        }
        if (!due && !screen_.changed()) return;
        news_.look(board_);
        if (shows_page_)
            screen_.show(address_screen(page_address_, screen_.rows(), screen_.width(), screen_.unicode()));
        else
            screen_.show(live_screen(snapshot, {.rows = screen_.rows(),
                                                .columns = screen_.width(),
                                                .unicode = screen_.unicode(),
                                                .news = news_.text(snapshot.time_s),
                                                .phone_page = !page_address_.empty(),
                                                .unheard_s = unheard_s(snapshot)}));
        drawn_ = snapshot.number;
        drawn_at_ = now;
    }

    LiveBoard& board_;
    const TerminalFile& terminal_;
    Screen& screen_;
    const std::string& page_address_;
    News news_;
    std::uint64_t drawn_ = 0;
    Clock::time_point drawn_at_{};
    bool away_ = false, end_passed_on_ = false, shows_page_ = false;
};

}  // namespace

bool terminal_can_show() {
    const TerminalFile terminal;
    return terminal.in_foreground() && terminal_places_cursor(terminal.fd());
}

void show_on_terminal(LiveBoard& board, const std::string& page_address) {
    if (!terminal_can_show()) throw Error(ErrorKind::invalid_request, "there is no terminal to show the moving view on: use --plain");
    const LettersOfTheUser letters;
    const TerminalFile terminal;
    const StuckWatch watch(board, terminal.fd());
    Screen screen(terminal, letters.unicode());
    View(board, terminal, screen, page_address).run();
}

}  // namespace hushtrace
