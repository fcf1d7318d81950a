#pragma once
#include <vector>

#include "hushtrace/measure/line_comb.hpp"
#include "noise_parts.hpp"

/// Parts of the search for noise that holds still: finding combs (steady_noise.cpp), naming them (steady_names.cpp).
namespace hushtrace {

/// One take's channels as the search sees them: silent ones and the supply's are left out.
struct SteadySearch {
    const TakeSurvey* survey = nullptr;
    std::vector<const StillSpectrum*> spectra;
    std::vector<std::size_t> channel_of;   ///< [spectra] index into survey->channels
    CombPlaces places;
};

/// A comb with its powers and harmonics as the take's channels have them.
SteadyComb as_steady_comb(const SteadySearch& search, const LineComb& comb, NoiseKind kind);

/// Whether a line strays as what turns does: what switches or counts keeps its rate far better.
bool strays(double frequency_hz, double wander_hz);
bool strays(const SteadySearch& search, const CombTooth& tooth);

SteadyComb named_mains(const SteadySearch& search, const LineComb& comb, double nominal_hz);
SteadyComb named_phone(const SteadySearch& search, const CombStretch& frames);
/// A phone's, by its rate alone: too faint for the stretch in which it sends to be known.
SteadyComb named_phone_line(const SteadySearch& search, const LineComb& comb);
SteadyComb named_bus(const SteadySearch& search, const LineComb& comb, std::string_view what);
/// A comb of which nothing is known but that it is one: a switched load or a motor, by its shape.
SteadyComb named_by_shape(const SteadySearch& search, const LineComb& comb);
/// Clicks of one rate, known by their lines alone.
SteadyComb named_ticks(const SteadySearch& search, const std::vector<double>& lines_hz, double rate_hz);
/// A line that nothing joins.
SteadyComb named_alone(const StillLine& line, const std::vector<double>& mean_square);

/// A line that strays a little, with the comb of its turns where there is one, read from `spectra` of short columns.
SteadyComb named_drifting(const SteadySearch& search, const std::vector<const StillSpectrum*>& spectra, const StillLine& line,
                          const LineComb& turns);

}  // namespace hushtrace
