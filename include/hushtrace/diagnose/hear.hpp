#pragma once
#include <filesystem>
#include <optional>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job_folder.hpp"

/// Each noise source as sound of its own, so that the customer can say "that one".
namespace hushtrace {

/// At most this much of a take is taken apart [s]; memory stays bounded, and tracks reach no further.
inline constexpr double kMostHeard_s = 60.0;

struct HearWishes {
    /// One gain for all that is listened to [dB]; where that would bring peaks above -6 dBFS they end there. Unset: each
    /// file's own, which brings its peaks to -6 dBFS, at most 100 dB.
    std::optional<double> gain_db;
};

/// Whether a folder may be written to: it isn't there, or it is empty.
///   throws  Error invalid_request, nothing written
void check_hear_folder(const std::filesystem::path& folder);

/// Writes, for each source of `analysis` in its loudest take, that source alone and the take without it: twice, under
/// exact/ as float WAV at the take's own level, where the two add up to the take sample by sample, and beside it at a
/// listening level. Lines are taken out along their tracks, clicks and crackle by their times; hiss is what is left when
/// all other sources of the take are out. Stereo (the pair of channels that holds the source's loudest; one channel
/// twice where there is one), the take's rate; the take's length, or its first minute.
/// Sources without sound of their own (clipping, heard_only) are left out.
///   into     sets heard and heard_folder; adds warnings: hear_cut_short, not_heard
///   throws   as check_hear_folder; Error file_unreadable; disk_failed
void write_heard(const OpenedJob& job, const std::filesystem::path& folder, const HearWishes& wishes,
                 NoiseAnalysis& into);

}  // namespace hushtrace
