#include "svg.hpp"

#include <fmt/format.h>

#include "hushtrace/report/markup.hpp"

namespace hushtrace::svg {
namespace {

std::string path_data(const std::vector<std::pair<double, double>>& points) {
    std::string data;
    for (const auto& point : points)
        data += fmt::format("{}{:.1f} {:.1f}", data.empty() ? "M" : "L", point.first, point.second);
    return data;
}

}  // namespace

std::string open(const Frame& frame, const std::string& id, const std::string& title,
                 const std::string& description) {
    return fmt::format(
        "<svg viewBox=\"0 0 {0:.0f} {1:.0f}\" role=\"img\" aria-labelledby=\"{2}-t {2}-d\" "
        "font-size=\"{3:.0f}\">"
        "<title id=\"{2}-t\">{4}</title><desc id=\"{2}-d\">{5}</desc>\n",
        frame.width, frame.height, id, frame.font, escaped(title), escaped(description));
}

std::string close() {
    return "</svg>\n";
}

std::string line(double x1, double y1, double x2, double y2, const char* css_class) {
    return fmt::format("<line class=\"{}\" x1=\"{:.1f}\" y1=\"{:.1f}\" x2=\"{:.1f}\" y2=\"{:.1f}\"/>",
                       css_class, x1, y1, x2, y2);
}

std::string text(double x, double y, const char* anchor, const std::string& words, const char* css_class) {
    return fmt::format("<text class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\" text-anchor=\"{}\">{}</text>", css_class,
                       x, y, anchor, escaped(words));
}

std::string trace(const std::vector<std::pair<double, double>>& points, const char* css_class) {
    if (points.empty()) return "";
    return fmt::format("<path class=\"{}\" d=\"{}\"/>\n", css_class, path_data(points));
}

std::string area(const std::vector<std::pair<double, double>>& points, double base_px,
                 const char* css_class) {
    if (points.empty()) return "";
    return fmt::format("<path class=\"{}\" d=\"{}L{:.1f} {:.1f}L{:.1f} {:.1f}Z\"/>\n", css_class,
                       path_data(points), points.back().first, base_px, points.front().first, base_px);
}

std::string x_axis(const Frame& frame, const Scale& scale, const std::vector<Tick>& ticks,
                   const std::string& name) {
    std::string out;
    for (const Tick& tick : ticks) {
        const double x = scale.at(tick.value);
        out += line(x, frame.top, x, frame.bottom, "grid");
        if (!tick.label.empty()) out += text(x, frame.bottom + frame.font + 4, "middle", tick.label, "tick");
    }
    out += line(frame.left, frame.bottom, frame.right, frame.bottom, "axis");
    return out +
           text((frame.left + frame.right) / 2, frame.bottom + 2.4 * frame.font + 6, "middle", name, "tick") +
           "\n";
}

std::string y_axis(const Frame& frame, const Scale& scale, const std::vector<Tick>& ticks,
                   const std::string& name) {
    std::string out;
    for (const Tick& tick : ticks) {
        const double y = scale.at(tick.value);
        out += line(frame.left, y, frame.right, y, "grid");
        if (!tick.label.empty())
            out += text(frame.left - 6, y + 0.35 * frame.font, "end", tick.label, "tick");
    }
    const double x = frame.font;
    const double y = (frame.top + frame.bottom) / 2;
    return out + fmt::format(
                     "<text class=\"tick\" transform=\"translate({:.1f} {:.1f}) rotate(-90)\" "
                     "text-anchor=\"middle\">{}</text>\n",
                     x, y, escaped(name));
}

std::string shape(std::size_t kind, double x, double y, double radius, const char* css_class) {
    const double r = radius;
    switch (kind % 4) {
        case 0:
            return fmt::format("<circle class=\"{}\" cx=\"{:.1f}\" cy=\"{:.1f}\" r=\"{:.1f}\"/>", css_class,
                               x, y, r);
        case 1:
            return fmt::format(
                "<rect class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\"/>",
                css_class, x - r, y - r, 2 * r, 2 * r);
        case 2:
            return fmt::format("<path class=\"{}\" d=\"M{:.1f} {:.1f}L{:.1f} {:.1f}L{:.1f} {:.1f}Z\"/>",
                               css_class, x, y - 1.2 * r, x + 1.1 * r, y + r, x - 1.1 * r, y + r);
        default:
            return fmt::format(
                "<path class=\"{}\" d=\"M{:.1f} {:.1f}L{:.1f} {:.1f}L{:.1f} {:.1f}L{:.1f} {:.1f}Z\"/>",
                css_class, x, y - 1.3 * r, x + 1.3 * r, y, x, y + 1.3 * r, x - 1.3 * r, y);
    }
}

}  // namespace hushtrace::svg
