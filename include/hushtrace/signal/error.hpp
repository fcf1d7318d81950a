#pragma once
#include <stdexcept>
#include <string>

namespace hushtrace {

/// What went wrong, in kinds that call for different reactions. The program's exit code follows from the kind:
/// device_failed and disk_failed are 3, all others 2.
enum class ErrorKind {
    invalid_request,   ///< an option or an argument that can't be met: a negative duration, an unknown hookup
    invalid_input,     ///< a file was read and its content is wrong: a NaN in a take, a wrong type in job.json
    file_unreadable,   ///< a file is missing, is a folder or a pipe, or isn't what its name says
    file_unwritable,   ///< a file or folder can't be created (the request was wrong); nothing was written
    empty_input,       ///< a measurement was given no samples
    too_short,         ///< a measurement was given too few samples for the figure asked for
    not_finite,        ///< a measurement met a NaN or an infinity
    device_failed,     ///< the audio device is missing, was unplugged or refuses the rate
    disk_failed        ///< the disk is full or failed during a recording; what was captured is kept
};

/// Thrown with the facts, in one line fit to be shown: "takes/idle.flac: cut short after 1.2 s".
class Error : public std::runtime_error {
public:
    Error(ErrorKind kind, const std::string& facts) : std::runtime_error(facts), kind_(kind) {}
    ErrorKind kind() const noexcept { return kind_; }

private:
    ErrorKind kind_;
};

}  // namespace hushtrace
