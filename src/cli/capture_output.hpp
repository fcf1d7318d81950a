#pragma once
#include <cstdio>
#include <string>
#include <vector>

#include "hushtrace/live/capture_session.hpp"
#include "tone_file_found.hpp"

namespace hushtrace::cli {

/// What a finished capture prints, and the moving line while it runs.
std::string capture_json(const std::string& job, const std::string& from, const CaptureOutcome& outcome,
                         const std::optional<ToneFileFound>& tone_file, const std::vector<Warning>& warnings);
std::string capture_text(const CaptureOutcome& outcome, const std::optional<ToneFileFound>& tone_file,
                         const std::vector<Warning>& warnings);

/// Sentences for what the data and the device showed: "dropout", "overload", "channel_remark", ...
std::vector<Warning> capture_warnings(const CaptureOutcome& outcome);

/// Progress on a terminal as one line written over and over, elsewhere as a line every five seconds of sound.
class ProgressLine {
public:
    ProgressLine(std::FILE* to, bool terminal, std::vector<Channel> channels);
    void show(const CaptureProgress& progress, const std::string& typed);
    /// Clears or ends the line, so that something else can be written.
    void end();

private:
    std::FILE* to_;
    bool terminal_, open_ = false;
    double next_s_ = 5.0;
    std::vector<Channel> channels_;
};

}  // namespace hushtrace::cli
