#pragma once
#include <array>
#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <string_view>

/// What strangers' bytes are thrown at. A target takes any bytes and returns; where a promise is broken it throws Broken.
namespace hushtrace::fuzz {

using Bytes = std::span<const std::uint8_t>;

/// job.json: what is taken is written, read again and changed, and stays the same job.
void try_job(Bytes bytes);
/// A sound file: read as a take is, then looked at (level, faults of the capture, clipping).
void try_sound(Bytes bytes);
/// A log of the engine's speed, with and without what else is known of its take.
void try_rpm_log(Bytes bytes);
/// A whole connection to the phone page.
void try_phone(Bytes bytes);
/// A record's data: as the earlier side of a comparison, and in the index over jobs.
void try_record(Bytes bytes);
/// A simulated vehicle's file.
void try_vehicle(Bytes bytes);

struct Target {
    std::string_view name;
    void (*run)(Bytes);
};
inline constexpr std::array<Target, 6> targets = {{{"job", try_job},
                                                   {"sound", try_sound},
                                                   {"rpm_log", try_rpm_log},
                                                   {"phone", try_phone},
                                                   {"record", try_record},
                                                   {"vehicle", try_vehicle}}};

/// throws Broken, saying what, unless it holds
void require(bool holds, std::string_view what);
/// What is told to people: not empty, UTF-8, of one line, not endless.
void require_sentence(std::string_view text);
/// Runs `work`; an Error is a refusal, whose sentence is looked at. Returns whether it was done.
bool done_or_refused(const std::function<void()>& work);
std::string_view as_text(Bytes bytes);

}  // namespace hushtrace::fuzz
