#pragma once
#include <string>
#include <utility>
#include <vector>

#include "hushtrace/report/axis.hpp"

/// Small pieces of SVG. Coordinates in px of the viewBox, written to 0.1.
namespace hushtrace::svg {

struct Frame {
    double width = 0, height = 0;
    double left = 0, right = 0, top = 0, bottom = 0;  ///< edges of the plot inside the picture
    double font = 13;
};

std::string open(const Frame& frame, const std::string& id, const std::string& title,
                 const std::string& description);
std::string close();
std::string line(double x1, double y1, double x2, double y2, const char* css_class);
/// anchor: "start" "middle" "end"
std::string text(double x, double y, const char* anchor, const std::string& words, const char* css_class);
/// A path through the points; closed down to `base_px` when that is asked for by `area`.
std::string trace(const std::vector<std::pair<double, double>>& points, const char* css_class);
std::string area(const std::vector<std::pair<double, double>>& points, double base_px, const char* css_class);
/// Grid lines and labels below and left of the plot.
std::string x_axis(const Frame& frame, const Scale& scale, const std::vector<Tick>& ticks,
                   const std::string& name);
std::string y_axis(const Frame& frame, const Scale& scale, const std::vector<Tick>& ticks,
                   const std::string& name);

/// One of four shapes, told apart without colour: circle, square, triangle, diamond.
std::string shape(std::size_t kind, double x, double y, double radius, const char* css_class);

}  // namespace hushtrace::svg
