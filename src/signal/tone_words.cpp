#include <array>

#include "hushtrace/signal/tone.hpp"

namespace hushtrace {
namespace {

using namespace std::string_view_literals;

constexpr std::array kWords = {"sine"sv, "stepped"sv,      "two_tone"sv,      "sweep"sv,
                               "pink"sv, "near_silence"sv, "polarity_pulse"sv};
static_assert(kWords.size() == std::variant_size_v<Waveform>);

}  // namespace

std::span<const std::string_view> tone_kind_words() {
    return kWords;
}
std::string_view tone_kind_word(const Waveform& waveform) {
    return kWords.at(waveform.index());
}

}  // namespace hushtrace
