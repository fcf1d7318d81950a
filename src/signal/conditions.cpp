#include "hushtrace/signal/conditions.hpp"

#include <algorithm>
#include <array>

namespace hushtrace {
namespace {

using namespace std::string_view_literals;

template <class Word> struct Spelling;
template <> struct Spelling<Drive> {
    static constexpr std::array words = {"combustion"sv, "diesel"sv, "hybrid"sv, "electric"sv};
};
template <> struct Spelling<Engine> {
    static constexpr std::array words = {"off"sv, "accessory"sv, "key_on"sv, "cranking"sv, "idle"sv, "raised"sv, "sweep"sv, "ready"sv};
};
template <> struct Spelling<SourceState> {
    static constexpr std::array words = {"on"sv, "muted"sv, "paused"sv, "off"sv};
};
template <> struct Spelling<SourceInput> {
    static constexpr std::array words = {"disc"sv, "tuner"sv, "aux"sv, "usb"sv, "wireless"sv};
};
template <> struct Spelling<Point> {
    static constexpr std::array words = {"amp_input"sv, "amp_output"sv, "source_output"sv};
};
template <> struct Spelling<LaptopPower> {
    static constexpr std::array words = {"battery"sv, "mains"sv, "vehicle"sv};
};
template <> struct Spelling<PoweredFrom> {
    static constexpr std::array words = {"own_battery"sv, "vehicle"sv, "mains"sv, "none"sv};
};
template <> struct Spelling<Channel> {
    static constexpr std::array words = {"left"sv, "right"sv, "rear_left"sv, "rear_right"sv, "center"sv, "sub"sv, "supply"sv, "supply_current"sv};
};
template <> struct Spelling<OutputKind> {
    static constexpr std::array words = {"line"sv, "speaker"sv};
};
template <> struct Spelling<InterfaceInput> {
    static constexpr std::array words = {"grounded"sv, "floating"sv, "differential"sv};
};
template <> struct Spelling<Conductor> {
    static constexpr std::array words = {"copper"sv, "copper_clad_aluminium"sv};
};
template <> struct Spelling<AmplifierState> {
    static constexpr std::array words = {"on"sv, "off"sv};
};
template <> struct Spelling<DialLaw> {
    static constexpr std::array words = {"logarithmic"sv, "linear"sv, "linear_volts"sv};
};
template <> struct Spelling<SpeakerKind> {
    static constexpr std::array words = {"full_range"sv, "tweeter"sv, "midrange"sv, "woofer"sv, "subwoofer"sv};
};
template <> struct Spelling<ToneVia> {
    static constexpr std::array words = {"interface"sv, "stick"sv, "phone"sv, "disc"sv};
};
template <> struct Spelling<TakeFault> {
    static constexpr std::array words = {"dropout"sv, "overload"sv, "stopped"sv, "too_short"sv, "source_muted"sv};
};
template <> struct Spelling<Hookup> {
    static constexpr std::array words = {
        "normal"sv, "inputs_shorted"sv, "shorted_at_amp"sv, "lead_on_dummy_at_amp"sv, "dummy_floating"sv,
        "termination_1k"sv, "termination_10k"sv, "shorted_at_source"sv, "unplugged_at_source"sv,
        "temporary_lead"sv, "temporary_ground"sv, "source_shell_link"sv, "shell_link_at_amp"sv, "isolator"sv,
        "antenna_unplugged"sv, "substitute_source"sv, "source_isolated"sv, "source_on_own_battery"sv,
        "amp_on_own_battery"sv, "test_speaker"sv};
};

}  // namespace

template <class Word> std::string_view to_word(Word value) {
    return Spelling<Word>::words.at(static_cast<std::size_t>(value));
}
template <class Word> std::optional<Word> from_word(std::string_view word) {
    const auto& words = Spelling<Word>::words;
    const auto found = std::find(words.begin(), words.end(), word);
    if (found == words.end()) return std::nullopt;
    return static_cast<Word>(found - words.begin());
}
template <class Word> std::span<const std::string_view> words_of() { return Spelling<Word>::words; }

#define HUSHTRACE_SPELLED(Word)                                              \
    template std::string_view to_word<Word>(Word);                           \
    template std::optional<Word> from_word<Word>(std::string_view);          \
    template std::span<const std::string_view> words_of<Word>();
HUSHTRACE_SPELLED(Drive)
HUSHTRACE_SPELLED(Engine)
HUSHTRACE_SPELLED(SourceState)
HUSHTRACE_SPELLED(SourceInput)
HUSHTRACE_SPELLED(Point)
HUSHTRACE_SPELLED(LaptopPower)
HUSHTRACE_SPELLED(PoweredFrom)
HUSHTRACE_SPELLED(Channel)
HUSHTRACE_SPELLED(OutputKind)
HUSHTRACE_SPELLED(InterfaceInput)
HUSHTRACE_SPELLED(Conductor)
HUSHTRACE_SPELLED(AmplifierState)
HUSHTRACE_SPELLED(DialLaw)
HUSHTRACE_SPELLED(SpeakerKind)
HUSHTRACE_SPELLED(ToneVia)
HUSHTRACE_SPELLED(TakeFault)
HUSHTRACE_SPELLED(Hookup)
#undef HUSHTRACE_SPELLED

bool engine_turns(Engine engine) {
    return engine == Engine::cranking || engine == Engine::idle || engine == Engine::raised || engine == Engine::sweep;
}

bool Conditions::has(Hookup one) const { return std::find(hookup.begin(), hookup.end(), one) != hookup.end(); }

}  // namespace hushtrace
