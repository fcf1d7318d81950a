#pragma once
#include <cstddef>
#include <vector>

/// Labels over a picture that never cover each other.
namespace hushtrace {

/// A label that wants to stand above a point, tied to it by a line straight down.
struct LabelRequest {
    double anchor_px = 0;
    double width_px = 0;
};

/// A label's place. Row 0 is the lowest. Its line runs down along one of its edges from its row to the
/// picture.
struct LabelPlace {
    std::size_t request = 0;  ///< index of the request
    std::size_t row = 0;
    double left_px = 0, right_px = 0;
    bool reads_right = true;  ///< the text starts at the line; else it ends there
};

/// Places as many labels as there is room for, the first requests first: no two boxes overlap, no line
/// crosses a box.
///
///   left_px, right_px   edges that no box may leave
///   rows                rows of labels available
///   gap_px              clear space kept between boxes, and between boxes and lines
///   returns             the placed ones; a request that finds no room is left out
std::vector<LabelPlace> place_labels(const std::vector<LabelRequest>& requests, double left_px,
                                     double right_px, std::size_t rows, double gap_px);

/// The same for labels that stand close together, in stairs: from the right to the left each reads right in the lowest row that is
/// free, so that its line comes down left of those before it. At the right edge it reads left.
std::vector<LabelPlace> stair_labels(const std::vector<LabelRequest>& requests, double left_px, double right_px, std::size_t rows, double gap_px);

/// Width that a text needs [px], on the safe side for the usual sans-serif faces: 0.62 of its size a column.
double text_width_px(std::size_t columns, double font_px);

}  // namespace hushtrace
