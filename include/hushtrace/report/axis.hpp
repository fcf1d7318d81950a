#pragma once
#include <string>
#include <vector>

/// Axes of the pictures: where a value stands, and which values are written beside the axis.
namespace hushtrace {

/// A stretch of values laid on a stretch of the picture [px]. px_to may be left of or above px_from.
struct Scale {
    double from = 0, to = 1;
    double px_from = 0, px_to = 1;
    bool logarithmic = false;  ///< from and to above 0

    /// Place of a value [px]; values outside stand at the end next to them.
    double at(double value) const;
};

struct Tick {
    double value = 0;
    std::string label;
};

/// 1, 2, 5 in each decade between two frequencies (10 Hz or more apart, above 0): "20" ... "1k", "20k".
std::vector<Tick> frequency_ticks(double from_hz, double to_hz);
/// One a decade of a logarithmic percent axis: "0.01", "0.1", "1", "10", "100".
std::vector<Tick> decade_ticks(double from, double to);
/// Round values (1, 2 or 5 times a power of ten apart) between two ends, at most `most` (2 or more) of them.
std::vector<Tick> even_ticks(double from, double to, std::size_t most);
/// Leaves out labels that would stand nearer than `least_px` to the one before; their ticks stay, without a
/// label.
std::vector<Tick> thinned(std::vector<Tick> ticks, const Scale& scale, double least_px);

}  // namespace hushtrace
