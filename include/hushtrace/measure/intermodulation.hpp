#pragma once
#include <cstddef>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "hushtrace/measure/reading.hpp"
#include "hushtrace/measure/tone_reading.hpp"

namespace hushtrace {

/// How two tones are played, and what their products are held against.
enum class TwoToneMethod {
    /// Two equal tones (19 and 20 kHz): f2-f1, 2f1-f2, 2f2-f1 against the sum of both amplitudes.
    difference_frequency,
    /// A low tone four times as strong as a high one (60 Hz and 7 kHz): the pairs of sidebands f2 +- f1, f2 +- 2f1, ..
    /// against the high tone.
    modulation
};
std::string_view to_word(TwoToneMethod method);  ///< "difference_frequency", "modulation"

struct IntermodulationRequest {
    TwoToneMethod method = TwoToneMethod::difference_frequency;
    /// The tones as played; found within 2 % (less where they lie close together). Unset: the two strongest lines.
    std::optional<double> low_hz, high_hz;
    std::size_t sideband_pairs = 5;  ///< of `modulation`; 2 is the standards' second and third order
};

/// One product of the tones, at of_low x f1 + of_high x f2.
struct IntermodulationProduct {
    int of_low = 0, of_high = 0;
    double frequency_hz = 0;
    Reading ratio;             ///< amplitude against the method's reference, the noise under it taken off in power
    double level_dbfs = 0;     ///< -infinity where the noise reaches as high
    bool above_noise = false;  ///< its power stands more than two standard uncertainties above the noise

    int order() const { return (of_low < 0 ? -of_low : of_low) + (of_high < 0 ? -of_high : of_high); }
};

/// Ratios are amplitudes: 0.01 is 1 %. Where the noise hides a figure, its limited_by is `length` (a longer take gets
/// further below the noise) and its high() is the bound that can be stated.
struct Intermodulation {
    ToneReading low, high;
    std::vector<IntermodulationProduct> products;  ///< those that were counted
    std::size_t products_missing = 0;              ///< above 0.95 of half the rate, so not counted
    Reading second_order_ratio, third_order_ratio;  ///< products of one order, their amplitudes added
    Reading total_ratio;                            ///< rms sum over the orders counted

    double total_percent() const { return 100.0 * total_ratio.value; }
};

/// Intermodulation distortion of two steady tones whose frequencies are found, never assumed.
///
/// Both tones are fitted in turn and taken off; the products are read at their known places in one transform, HFT248D
/// where they lie 22 bins or more apart, else Blackman-Harris. The noise under each is the median of the bins round it
/// that belong to no product up to the ninth order.
///
///   source  difference_frequency: IEC 60268-3 (second order U(f2-f1), third order U(2f1-f2) + U(2f2-f1), both against
///           2 U(f2), which for equal tones is the sum of both); modulation: IEC 60268-3 and SMPTE RP 120 (the pair of
///           each order added, which is the depth of the high tone's amplitude modulation). From memory; the reference
///           2 U(f2) and the adding of pairs also stand in published makers' manuals
///   throws  Error as read_tone; too_short where the products can't be told apart; invalid_input where a second tone is
///           missing; invalid_request where a product falls on another or on a harmonic up to the fourth order, and for
///           tones that are not below 0.95 of half the rate, low under high
Intermodulation measure_intermodulation(std::span<const double> samples, double sample_rate_hz,
                                        const IntermodulationRequest& request);

}  // namespace hushtrace
