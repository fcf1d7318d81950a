#pragma once
#include <filesystem>
#include <span>

namespace hushtrace {

/// How a tone file is written. 16 bit at 44.1 kHz is what every player in a vehicle reads.
struct ToneFileForm {
    double sample_rate_hz = 44100;
    int bits = 16;  ///< 16 or 24
    bool left = true,
         right = true;  ///< which of its two channels carry the sound; the other holds dither alone
    bool overwrite = false;
};

/// Writes one channel's samples to a two-channel WAV or FLAC file (by suffix) with triangular dither of one
/// step, so that neither channel is ever digital silence. Full scale is two steps below the format's end, so
/// that dither does not clip a tone at 0 dBFS (0.0005 dB at 16 bit).
///
/// The file appears complete or not at all: it is written under another name and renamed.
///   throws Error invalid_request: another suffix, bits or rate; file_unwritable: the file exists and
///   `overwrite` is false, the folder is missing or read-only; disk_failed: the disk is full. Nothing is left
///   behind then.
void write_tone_file(const std::filesystem::path& file, std::span<const double> samples,
                     const ToneFileForm& form);

}  // namespace hushtrace
