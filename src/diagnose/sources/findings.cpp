#include "hushtrace/diagnose/findings.hpp"

#include <array>

namespace hushtrace {
namespace {

struct Names {
    std::string_view word, plain;
};
constexpr std::array<Names, 14> kNames = {{
    {"alternator_whine", "alternator whine"},
    {"ignition_tick", "ignition noise"},
    {"mains_hum", "mains hum"},
    {"switched_load", "a switched load (pulse-width control)"},
    {"motor_whine", "electric motor whine"},
    {"phone_burst", "phone transmission bursts"},
    {"bus_tone", "data bus tone"},
    {"converter_hash", "power converter hash"},
    {"periodic_tick", "evenly spaced clicks"},
    {"crackle", "crackle"},
    {"hiss", "hiss"},
    {"clipping", "clipping"},
    {"unexplained_tone", "unexplained tone"},
    {"heard_only", "heard, but absent at the amplifier's input"},
}};

}  // namespace

std::string_view to_word(NoiseKind kind) {
    return kNames.at(static_cast<std::size_t>(kind)).word;
}
std::string_view plain_name(NoiseKind kind) {
    return kNames.at(static_cast<std::size_t>(kind)).plain;
}

const LevelInTake* loudest_level(const NoiseSource& source) {
    const LevelInTake* best = nullptr;
    for (const LevelInTake& one : source.levels)
        if (one.level_dbfs && (!best || *one.level_dbfs > *best->level_dbfs)) best = &one;
    return best;
}

}  // namespace hushtrace
