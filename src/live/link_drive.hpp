#pragma once
#include <cstdint>
#include <optional>

#include "hushtrace/audio/link.hpp"
#include "hushtrace/live/played_sound.hpp"

namespace hushtrace {

/// Runs a link from its start to its end, and what is played through it: silence while the link settles, then the
/// sound, at the end its ramp down.
class LinkDrive {
public:
    LinkDrive(Link& link, std::optional<PlayedSound> sound) : link_(link), sound_(std::move(sound)) {}
    ~LinkDrive() { link_.stop(); }
    LinkDrive(const LinkDrive&) = delete;
    LinkDrive& operator=(const LinkDrive&) = delete;

    /// Starts the link and lets it settle, keeping nothing. throws Error as Link
    void start();
    /// Captures, and counts what the link owns up to.
    LinkNotice transfer(Block& captured);
    /// The ramp down is heard to its end; what is captured meanwhile is not kept.
    void fade_out() noexcept;
    void stop() noexcept { link_.stop(); }

    std::uint64_t overflows() const { return overflows_; }
    std::uint64_t underflows() const { return underflows_; }

private:
    PlaySupply supply();

    Link& link_;
    std::optional<PlayedSound> sound_;
    bool begun_ = false;
    std::uint64_t overflows_ = 0, underflows_ = 0;
};

}  // namespace hushtrace
