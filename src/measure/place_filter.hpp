#pragma once
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace hushtrace {

/// Where a line lies, as probabilities over a logarithmic grid of frequency and over slopes, with a state for "not there".
/// One step for each new spectrum: predict, then weigh by what each place's spectrum says.
class PlaceFilter {
public:
    /// step     relative distance of grid places
    /// reach    steepest slope, grid places a hop; 0 for a line that holds still
    /// lobe_hz  half of what one line shows in a spectrum: places within it speak for the same line
    PlaceFilter(double low_hz, double high_hz, double first_hz, double step, std::size_t reach, double lobe_hz = 0.0);

    std::size_t places() const { return places_hz_.size(); }
    double place_hz(std::size_t place) const { return places_hz_[place]; }
    /// log_odds  [places] of "the line is here" against "it is not there"
    void update(std::span<const double> log_odds);
    double present() const { return present_; }   ///< probability that it is there, within a few places or a lobe of `likeliest_hz`
    double likeliest_hz() const { return likeliest_hz_; }
    double slope_places() const { return slope_; } ///< places a hop, of the likeliest
    /// Where it was last found for sure; it is looked for there first.
    void was_found(double frequency_hz) { last_hz_ = frequency_hz; hops_lost_ = 0; }

private:
    void predict();
    std::vector<double> comes_back() const;
    void find_likeliest();

    double step_, lobe_hz_;
    std::ptrdiff_t reach_;
    std::size_t slopes_;
    std::vector<double> places_hz_;
    std::vector<double> here_, next_;  // [slopes][places]
    std::vector<double> at_place_;     // [places]
    double away_ = 0.5, present_ = 0, likeliest_hz_, slope_ = 0, last_hz_;
    std::size_t hops_lost_ = 0;
};

}  // namespace hushtrace
