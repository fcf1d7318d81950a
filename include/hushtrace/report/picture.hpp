#pragma once
#include <cstddef>
#include <string>
#include <utility>
#include <vector>

#include "hushtrace/diagnose/chain_analysis.hpp"
#include "hushtrace/diagnose/findings.hpp"

/// The record's pictures as SVG elements. Colours come from the page by class, so one picture serves light
/// and dark. Each has role="img", a title and a description; every text in them is escaped.
namespace hushtrace {

/// One picture is drawn twice, each in a size at which its letters can be read: for a page, and for a phone.
enum class PictureSize { wide, narrow };

/// A spectrum reduced to the picture's width: the strongest bin of each strip.
struct StripPoint {
    double frequency_hz = 0, level_db = 0;
};
/// Strips of equal width on a logarithmic axis; strips without a bin are left out. Levels are those of the
/// picture's unit (dBV where volts_full_scale is set and `volts` asks for it), digital silence reads -200.
std::vector<StripPoint> strongest_of_strips(const TakePicture& picture, bool volts, double from_hz,
                                            double to_hz, std::size_t strips);

/// A bin at or below this holds digital silence. Spectra of silence are held at a mean square of 1e-20, which
/// reads -197 dBFS; the quantisation noise of a 24-bit take (-146 dBFS) spread over 32768 bins still reads
/// -191.
constexpr float kDigitalSilence_dbfs = -196.0F;
bool is_sound(float level_dbfs);
/// Whether there is anything to draw: two bins or more, one of them above digital silence.
bool has_spectrum(const TakePicture& picture);
bool has_spectrogram(const TakePicture& picture);

/// Level against log frequency with the findings marked and numbered as in `analysis`. `under` (or null) is
/// drawn shaded behind it, to compare. dBV where both are calibrated, else dBFS.
///   id   unique in the page: letters and digits
std::string spectrum_svg(const NoiseAnalysis& analysis, const TakePicture& picture, const TakePicture* under,
                         PictureSize size, const std::string& id, const std::string& title);

/// The spectrogram's pixels alone: an SVG <image> of one unit square with id `image_id`, to be used by both
/// sizes.
std::string spectrogram_image(const TakePicture& picture, const std::string& image_id);
/// Frequency against time, around the image `image_id`, with the findings' tracks, named, and the take's marks.
std::string spectrogram_svg(const TakePicture& picture, const std::vector<Mark>& marks, PictureSize size,
                            const std::string& id, const std::string& image_id, const std::string& title);

/// Order against time over the cycles of a finding, level as colour: whether there is one, its pixels (as
/// spectrogram_image), the picture round them with the lines that hold still, and the same in a sentence.
bool has_order_map(const TakePicture& picture);
std::string order_map_image(const TakePicture& picture, const std::string& image_id);
std::string order_map_svg(const TakePicture& picture, PictureSize size, const std::string& id, const std::string& image_id,
                          const std::string& title);
std::string order_map_words(const TakePicture& picture);

/// Distortion against volume, with limit and ceiling. Step numbers where a volume isn't known.
bool has_distortion(const GainAnalysis& analysis);
std::string distortion_svg(const GainAnalysis& analysis, PictureSize size, const std::string& id,
                           const std::string& title);

/// Whether a channel's response stands out of the noise anywhere.
bool has_response(const ChainAnalysis& analysis);
/// Responses of up to four channels against log frequency, each against its own level; -40 dB at the least.
std::string response_svg(const ChainAnalysis& analysis, PictureSize size, const std::string& id,
                         const std::string& title);

}  // namespace hushtrace
