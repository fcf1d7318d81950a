#include "conditions_options.hpp"

#include <algorithm>

#include "help_section.hpp"
#include "offers.hpp"
#include "values.hpp"

namespace hushtrace::cli {
namespace {

/// An option that takes one text of values separated by commas, and may be given again.
CLI::Option* add_list(CLI::App& app, const std::string& name, std::vector<std::string>& into,
              const std::string& help) {
    return app.add_option(name, into, help)->delimiter(',')->allow_extra_args(false);
}

AttachedDevice attached_from(const std::string& text) {
    const std::size_t colon = text.rfind(':');
    if (colon == 0 || colon == std::string::npos)
        throw Error(ErrorKind::invalid_request,
                    fmt::format("--attached: {} does not say what feeds it; write DEVICE:{}", in_quotes(text),
                                fmt::join(words_of<PoweredFrom>(), "|")));
    const std::string fed = text.substr(colon + 1);
    if (fed == "battery") return {text.substr(0, colon), PoweredFrom::own_battery};
    return {text.substr(0, colon), word_from<PoweredFrom>("--attached", std::string_view(fed))};
}

template <class Word>
std::vector<Word> words_from(std::string_view option, const std::vector<std::string>& texts) {
    std::vector<Word> words;
    for (const std::string& text : texts) {
        const Word word = word_from<Word>(option, std::string_view(text));
        if (std::find(words.begin(), words.end(), word) != words.end())
            throw Error(ErrorKind::invalid_request,
                        fmt::format("{}: {} is given twice", option, in_quotes(text)));
        words.push_back(word);
    }
    return words;
}

double not_negative(std::string_view option, double value) {
    if (value < 0) throw Error(ErrorKind::invalid_request, fmt::format("{}: {} is below 0", option, value));
    return value;
}

}  // namespace

void ConditionsOptions::add_to(CLI::App& app) {
    const HelpSection section(app, "Conditions");
    offer<Engine>(app.add_option("--engine", engine, "engine: " + choices<Engine>()));
    app.add_option("--rpm", rpm, "engine speed [1/min]");
    offer<SourceState>(app.add_option("--source", source, "the source: " + choices<SourceState>()));
    offer<SourceInput>(app.add_option("--input", input, "what the source plays from: " + choices<SourceInput>()));
    app.add_option("--volume", volume, "the source's volume, on its own scale");
    offer<AmplifierState>(app.add_option("--amplifier", amplifier, "the amplifier: " + choices<AmplifierState>()));
    offer<Hookup>(add_list(app, "--hookup", hookup, "how the signal lead was connected: " + choices<Hookup>()));
    add_list(app, "--loads", loads, "what was switched on: headlights,rear_defogger");
    add_list(app, "--attached", attached,
             "what else was connected, and what feeds it: phone:vehicle,laptop:mains");
    offer<LaptopPower>(app.add_option("--laptop", laptop, "what feeds the laptop: " + choices<LaptopPower>()));
    offer<Point>(app.add_option("--point", point, "where the probe sits: " + choices<Point>()));
    app.add_option("--at-amplifier", at_amplifier, "the amplifier's name in the job, where there are several");
}

Conditions ConditionsOptions::conditions() const {
    Conditions found;
    if (const auto word = word_from<Point>("--point", point)) found.point = *word;
    if (const auto word = word_from<Engine>("--engine", engine)) found.engine = *word;
    found.rpm = number_from("--rpm", rpm);
    if (found.rpm) not_negative("--rpm", *found.rpm);
    if (found.rpm.value_or(0) > 0 && engine && !engine_turns(found.engine))
        throw Error(ErrorKind::invalid_request,
                    fmt::format("--rpm: {} with the engine '{}', which does not turn", *rpm, *engine));
    if (found.rpm.value_or(0) > 0 && !engine)
        throw Error(ErrorKind::invalid_request, "--rpm: needs --engine, such as --engine idle");
    found.source = word_from<SourceState>("--source", source);
    found.input = word_from<SourceInput>("--input", input);
    found.volume = number_from("--volume", volume);
    found.amplifier = word_from<AmplifierState>("--amplifier", amplifier);
    if (!hookup.empty()) found.hookup = words_from<Hookup>("--hookup", hookup);
    if (found.hookup.size() > 1 && found.has(Hookup::normal))
        throw Error(ErrorKind::invalid_request, "--hookup: 'normal' can't stand beside another hookup");
    found.loads = loads;
    for (const std::string& one : attached) found.attached.push_back(attached_from(one));
    found.laptop = word_from<LaptopPower>("--laptop", laptop);
    if (at_amplifier && !is_utf8(*at_amplifier))
        throw Error(ErrorKind::invalid_request, fmt::format("--at-amplifier: {} is not UTF-8 text", in_quotes(*at_amplifier)));
    found.at_amplifier = at_amplifier;
    return found;
}

void ChannelOptions::add_to(CLI::App& app) {
    const HelpSection section(app, "Channels");
    offer<Channel>(add_list(app, "--channels", channels, "what each input carries, in order: " + choices<Channel>()));
    add_list(app, "--attenuation-db", attenuation_db, "loss of the pad before each input [dB, positive]");
}

std::vector<Channel> ChannelOptions::channels_of(std::size_t file_channels) const {
    if (channels.empty() && file_channels == 1) return {Channel::left};
    if (channels.empty() && file_channels == 2) return {Channel::left, Channel::right};
    auto named = words_from<Channel>("--channels", channels);
    if (named.size() != file_channels)
        throw Error(ErrorKind::invalid_request,
                    fmt::format("--channels: {} named, but the sound has {}", named.size(), file_channels));
    return named;
}

std::vector<double> ChannelOptions::pads_of(std::size_t file_channels) const {
    auto pads = numbers_from("--attenuation-db", attenuation_db);
    for (const double pad : pads) not_negative("--attenuation-db", pad);
    if (pads.size() == 1) pads.resize(file_channels, pads.front());
    if (!pads.empty() && pads.size() != file_channels)
        throw Error(ErrorKind::invalid_request,
                    fmt::format("--attenuation-db: {} values, but the sound has {} channels", pads.size(),
                                file_channels));
    return pads;
}

}  // namespace hushtrace::cli
