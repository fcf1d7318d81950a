#pragma once
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

/// The words of the conditions in which a take was made: each value has one spelling, used in job.json, on the
/// command line and in the record alike.
namespace hushtrace {

enum class Drive { combustion, diesel, hybrid, electric };
enum class Engine { off, accessory, key_on, cranking, idle, raised, sweep, ready };
enum class SourceState { on, muted, paused, off };
enum class SourceInput { disc, tuner, aux, usb, wireless };
enum class Point { amp_input, amp_output, source_output };
enum class LaptopPower { battery, mains, vehicle };
enum class PoweredFrom { own_battery, vehicle, mains, none };
enum class Channel { left, right, rear_left, rear_right, center, sub, supply, supply_current };
/// Sound for a speaker, and no reading of the supply.
constexpr bool carries_signal(Channel channel) { return channel != Channel::supply && channel != Channel::supply_current; }
enum class OutputKind { line, speaker };              ///< a source's output, an amplifier's input
enum class InterfaceInput { grounded, floating, differential };
enum class Conductor { copper, copper_clad_aluminium };
enum class AmplifierState { on, off };
enum class DialLaw { logarithmic, linear, linear_volts };   ///< what an equal turn of a gain dial changes by an equal amount
enum class SpeakerKind { full_range, tweeter, midrange, woofer, subwoofer };
enum class ToneVia { interface_output, stick, phone, disc };   ///< spelled "interface" for the first
enum class TakeFault { dropout, overload, stopped, too_short, source_muted };
enum class Hookup {
    normal, inputs_shorted, shorted_at_amp, lead_on_dummy_at_amp, dummy_floating, termination_1k,
    termination_10k, shorted_at_source, unplugged_at_source, temporary_lead, temporary_ground,
    source_shell_link, shell_link_at_amp, isolator, antenna_unplugged, substitute_source, source_isolated,
    source_on_own_battery, amp_on_own_battery, test_speaker
};

/// The spelling of a value, and back; from_word gives nothing for a word that isn't one of the type's.
/// words_of lists all spellings in the order of the enumeration, for messages and command-line help.
template <class Word> std::string_view to_word(Word value);
template <class Word> std::optional<Word> from_word(std::string_view word);
template <class Word> std::span<const std::string_view> words_of();

/// Whether the engine turns: idle, raised, sweep, cranking.
bool engine_turns(Engine engine);

/// Something connected to the vehicle or the set-up besides the signal lead, and what feeds it.
struct AttachedDevice {
    std::string device;   ///< free words: "phone", "charger", "laptop"
    PoweredFrom powered_from = PoweredFrom::none;
    friend bool operator==(const AttachedDevice&, const AttachedDevice&) = default;
};

/// What was true while a take or an observation was made. Unset optionals mean "not stated".
struct Conditions {
    Point point = Point::amp_input;
    Engine engine = Engine::off;
    std::optional<double> rpm;                ///< [1/min]
    std::optional<SourceState> source;
    std::optional<SourceInput> input;
    std::optional<double> volume;             ///< the source's own scale
    std::optional<AmplifierState> amplifier;
    std::vector<Hookup> hookup = {Hookup::normal};
    std::vector<std::string> loads;           ///< free words: "headlights", "rear_defogger"
    std::vector<AttachedDevice> attached;
    std::optional<LaptopPower> laptop;
    std::optional<std::string> at_amplifier;  ///< whose input or output it is, by its name in the job, where there are several

    bool has(Hookup one) const;
};

}  // namespace hushtrace
