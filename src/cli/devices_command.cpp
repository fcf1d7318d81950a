#include <fmt/format.h>
#include <fmt/ranges.h>

#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "command.hpp"
#include "hushtrace/audio/link.hpp"
#include "json_document.hpp"

namespace hushtrace::cli {
namespace {

constexpr const char* none_found =
    "No audio device found. Plug the interface in, close other programs that hold it, and try again.";

std::string as_json(const std::vector<DeviceInfo>& devices) {
    nlohmann::ordered_json listed = nlohmann::ordered_json::array();
    for (const DeviceInfo& device : devices)
        listed.push_back({{"index", device.index},
                          {"name", device.name},
                          {"host_api", device.host_api},
                          {"input_channels", device.input_channels},
                          {"output_channels", device.output_channels},
                          {"default_sample_rate_hz", device.default_sample_rate_hz},
                          {"sample_rates_hz", device.sample_rates_hz},
                          {"input_latency_s", device.input_latency_s},
                          {"output_latency_s", device.output_latency_s},
                          {"default_input", device.default_input},
                          {"default_output", device.default_output}});
    std::vector<Warning> warnings;
    if (devices.empty()) warnings.push_back({"no_device", none_found, std::nullopt});
    return json_document("devices", nlohmann::ordered_json::object(), {{"devices", std::move(listed)}},
                         warnings);
}

std::string rates_text(const DeviceInfo& device) {
    std::vector<std::string> kilohertz;
    for (const double rate_hz : device.sample_rates_hz)
        kilohertz.push_back(fmt::format("{:g}", rate_hz / 1000));
    return kilohertz.empty() ? "no usual rate" : fmt::format("{} kHz", fmt::join(kilohertz, " "));
}

/// What the device is the default for, as a mark behind its name.
std::string default_mark(const DeviceInfo& device) {
    if (device.default_input && device.default_output) return "  (default)";
    if (device.default_input) return "  (default input)";
    return device.default_output ? "  (default output)" : "";
}

std::string as_text(const std::vector<DeviceInfo>& devices) {
    if (devices.empty()) return std::string(none_found) + "\n";
    std::string text;
    for (const DeviceInfo& device : devices)
        text += fmt::format("{:>3}  {}{}\n     {}; {} in, {} out; {}; latency {:.0f} ms in, {:.0f} ms out\n",
                            device.index, device.name, default_mark(device), device.host_api,
                            device.input_channels, device.output_channels, rates_text(device),
                            1000 * device.input_latency_s, 1000 * device.output_latency_s);
    return text + "\nGive --device a number, or a part of the name that no other device has.\n";
}

}  // namespace

void add_devices_command(CLI::App& app, Context&) {
    CLI::App* command =
        app.add_subcommand("devices", "lists the audio devices, their channels, rates and latency");
    const auto json = std::make_shared<bool>(false);
    command->add_flag("--json", *json, "print one JSON document");
    command->callback([json] {
        const auto devices = list_devices();
        fmt::print("{}", *json ? as_json(devices) : as_text(devices));
    });
}

}  // namespace hushtrace::cli
