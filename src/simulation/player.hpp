#pragma once
#include <array>
#include <cstddef>
#include <filesystem>
#include <memory>
#include <vector>

#include "hushtrace/signal/take_file.hpp"

namespace hushtrace::simulated {

/// A file as the source plays it: by the source's own clock, seen by the interface's. Band-limited
/// interpolation (Kaiser window, images below -110 dB). A file of one channel goes to both.
class Player {
public:
    /// `clock_ratio`: the source's clock over the interface's.
    ///   throws Error file_unreadable
    Player(const std::filesystem::path& file, double sample_rate_hz, double clock_ratio);

    std::array<double, 2> next();
    /// How long the file has been giving exact zeros [s]; after its end it gives nothing else.
    double silent_s() const { return static_cast<double>(silent_frames_) / file_rate_hz_; }

private:
    void feed();
    double interpolate(const std::vector<double>& history, double fraction) const;

    TakeReader reader_;
    double file_rate_hz_, step_, place_ = 0;
    std::size_t half_taps_ = 32;
    std::vector<double> table_;
    std::array<std::vector<double>, 2> history_;  // twice over, newest window contiguous
    std::size_t position_ = 0, silent_frames_ = 0;
    Block block_;
    std::size_t read_ = 0;
    bool ended_ = false;
};

}  // namespace hushtrace::simulated
