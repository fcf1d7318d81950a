#pragma once
#include <memory>
#include <optional>
#include <string>
#include <variant>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/live/follow_task.hpp"
#include "hushtrace/measure/band_follower.hpp"
#include "hushtrace/measure/line_follower.hpp"
#include "hushtrace/measure/power_follower.hpp"

namespace hushtrace {

struct Clicks {};
/// Something that can be followed, and how.
struct FollowTarget {
    std::string name;                 ///< "alternator whine"
    std::optional<NoiseKind> kind;
    std::variant<LineFamily, FollowedBand, Clicks> how = FollowedBand::everything;
    bool with_engine = false;         ///< its frequency is the engine's speed
    std::unique_ptr<PowerFollower> follower(double sample_rate_hz, std::size_t channels) const;
};

/// What the words of the wish ask for.
struct FollowAim {
    std::optional<FollowTarget> target;  ///< known at once; of a family of lines where it is looked for
    std::optional<NoiseKind> kind;       ///< look for the loudest of this kind
    bool loudest = false;                ///< look for whatever is loudest
    bool sharpens = false;               ///< look for the target's kind first: the sound tells more than the words
};
/// throws Error as FollowTask
FollowAim read_aim(const FollowWish& wish);

/// How a source that the analysis found is followed; nothing for those that can't be.
std::optional<FollowTarget> target_of(const NoiseSource& source, double sample_rate_hz);

/// Looks for what is aimed at in a stretch of sound, as `noise` does. Nothing when it is not there, or can't be looked for.
std::optional<FollowTarget> find_target(const FollowAim& aim, const FollowWish& wish, const Block& sound);

}  // namespace hushtrace
