#pragma once
#include <cstddef>
#include <vector>

#include "hushtrace/measure/response_shape.hpp"

/// The model that response_shape.cpp chooses: parts in cascade, and their fit.
namespace hushtrace {

struct ShapePoint {
    double ln_hz = 0;      ///< warped where a bilinear transform is assumed
    double level_db = 0;
    double sd_db = 0.1;
};

/// Kind, and the numbers that are free: ln frequency, gain and ln q of peaks and shelves, the frequency alone of the rest.
struct ModelPart {
    ShapeKind kind = ShapeKind::peak;
    double ln_hz = 0, gain_db = 0, ln_q = 0;
    int order = 0;
    bool linkwitz_riley = false;

    bool passes() const { return kind == ShapeKind::high_pass || kind == ShapeKind::low_pass; }
    std::size_t free() const { return passes() ? 1 : 3; }
    double& number(std::size_t which) { return which == 0 ? ln_hz : which == 1 ? gain_db : ln_q; }
    double db_at(double at_ln_hz) const;
};

struct ShapeModel {
    double level_db = 0;
    std::vector<ModelPart> parts;
    std::size_t free() const;
    double db_at(double at_ln_hz) const;
};

struct ShapeFit {
    ShapeModel model;
    double cost = 0;            ///< Huber's sum of what is left over its sd
    std::vector<double> sd;     ///< of level, then of each part's free numbers; empty where the points don't tell them
};

/// Refines all numbers of a model; frequencies stay within half an octave of the points' band.
ShapeFit fit_shape(const std::vector<ShapePoint>& points, ShapeModel start, int rounds);

}  // namespace hushtrace
