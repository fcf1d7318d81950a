#include "noise_parts.hpp"

namespace hushtrace {
namespace {

Action act(const NoiseSource& source, std::string what, std::string why) {
    return {std::move(what), std::move(why), source.id, std::nullopt, std::nullopt};
}

const char* kRunningEngine =
    "Keep leads, sleeves and hair clear of belts and fans, and run the engine outdoors or with exhaust "
    "extraction.";

}  // namespace

std::vector<Action> advice_for(const NoiseSource& source, const Job& job) {
    const bool high_voltage = job.vehicle.drive == Drive::hybrid || job.vehicle.drive == Drive::electric;
    std::vector<Action> actions;
    switch (source.kind) {
        case NoiseKind::alternator_whine:
            actions.push_back(
                act(source,
                    "Amplifier off, take the signal lead out of the source and put its end into a dummy plug "
                    "that "
                    "touches nothing; amplifier on, engine running, capture with --hookup dummy_floating.",
                    "If the whine is gone, it comes by the ground loop or from the source; if it stays, the "
                    "lead itself picks it up."));
            actions.push_back(act(source,
                                  "Read the ground drop with a meter: amplifier's ground terminal to battery "
                                  "negative, loads on, signal leads out.",
                                  "Above 0.1 V the amplifier's ground wants remaking: bare metal, short "
                                  "cable of the supply's gauge, ring terminal."));
            actions.push_back(
                act(source,
                    "Lay a temporary lead across the seats, same jacks, and capture with --hookup "
                    "temporary_lead.",
                    "If that is quieter, the lead's route beside the supply cable lets the whine in. " +
                        std::string(kRunningEngine)));
            break;
        case NoiseKind::ignition_tick:
            actions.push_back(act(source,
                                  "Have the ignition's suppression looked at: plugs, leads, coil connectors, "
                                  "the strap from engine to body.",
                                  "Clicks at the firing rate come as radio energy or over the ground. Never "
                                  "open the ignition with the engine running."));
            actions.push_back(act(source,
                                  "Capture once with the antenna unplugged (--hookup antenna_unplugged).",
                                  "If the clicks are gone, they come by the antenna lead."));
            break;
        case NoiseKind::mains_hum:
            actions.push_back(act(source,
                                  "Run the laptop on its battery, take every charger and mains lead off the "
                                  "vehicle, and capture again.",
                                  "Mains hum has no source in a vehicle: it comes with an adapter or a "
                                  "charger, often the laptop's own."));
            break;
        case NoiseKind::phone_burst:
            actions.push_back(
                act(source,
                    "Move the phone a metre away from leads and amplifier, then switch it to flight mode, "
                    "and capture again.",
                    "The bursts follow the phone's frames; distance or a screened lead removes them."));
            break;
        case NoiseKind::bus_tone:
            actions.push_back(act(
                source, "Unplug every USB lead from the source, and capture once with the inputs shorted.",
                "Exact multiples of 1 kHz are USB frames: the source's stick or phone, or the interface "
                "itself."));
            break;
        case NoiseKind::periodic_tick:
            actions.push_back(
                act(source,
                    "Switch off loads one by one (flashers, lamps, blower, wipers) while watching for the "
                    "clicks.",
                    "Even clicks that the engine does not explain come from a switching load."));
            break;
        case NoiseKind::motor_whine:
            actions.push_back(act(source,
                                  "Switch motors off one by one: blower, seat, wipers; note that the fuel "
                                  "pump runs for two seconds at key-on.",
                                  "The tone moves, but not as the engine does."));
            break;
        case NoiseKind::unexplained_tone:
            actions.push_back(
                act(source,
                    "Switch off or unplug what is attached, one thing at a time: chargers, phone, dash "
                    "dimmer, screen; capture after each.",
                    "A steady tone that follows neither engine nor mains belongs to one of the devices."));
            break;
        case NoiseKind::hiss:
            actions.push_back(act(source,
                                  "Use more of the source's volume and less of the amplifier's gain (the "
                                  "gain command says where both belong).",
                                  "Hiss from before the amplifier's gain falls dB for dB with that gain."));
            break;
        case NoiseKind::clipping:
            actions.push_back(
                act(source,
                    "Turn the source down to its ceiling (the gain command finds it) and win the level back at the "
                    "amplifier.",
                    "A source's rail stays at its volts whatever the volume. If the same passage clips at a lower "
                    "volume at a lower level too, the recording itself is cut, or something before the volume control."));
            break;
        case NoiseKind::switched_load:
            actions.push_back(act(source,
                                  "Switch the loads off one by one (lamps, dash dimmer to full, fans, seat heating), and capture after "
                                  "each; name them with --loads.",
                                  "The load with which it goes is the one that is switched at that rate; its ground or its lead beside "
                                  "the signal's is then the way in."));
            break;
        case NoiseKind::converter_hash:
            actions.push_back(act(source,
                                  "Unplug chargers and adapters from the vehicle's sockets one by one, and capture after each; then once "
                                  "more at another sample rate.",
                                  "A converter's noise goes with it; what an interface folds down from above its band moves with the "
                                  "sample rate."));
            break;
        case NoiseKind::crackle:
            actions.push_back(act(source,
                                  "Capture while each plug, ground and fuse is moved in turn, marking each (--mark), and look at which "
                                  "the bursts come.",
                                  "Bursts at odd times come from a joint that makes and breaks."));
            break;
        case NoiseKind::heard_only:
            actions.push_back(act(source,
                                  "Put a dummy plug into the amplifier's input and listen (--hookup shorted_at_amp); then a test speaker "
                                  "straight at the amplifier.",
                                  "What is heard but not there at the input comes from the amplifier, its supply, or the speakers' "
                                  "leads."));
            break;
        default:
            break;
    }
    if (high_voltage && !actions.empty())
        actions.push_back(
            act(source,
                "Leave everything with orange cable to trained staff; lay no lead along it and ground "
                "nothing to its brackets.",
                "Above 60 V dc a mistake kills, and the vehicle may start its converters by itself."));
    return actions;
}

}  // namespace hushtrace
