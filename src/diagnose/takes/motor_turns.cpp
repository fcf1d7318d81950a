#include "motor_turns.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include "hushtrace/vehicle/steady_signatures.hpp"

namespace hushtrace {
namespace {

constexpr double kOff = 0.0015;         // of the followed line: how far a line over its cycles may lie off
constexpr double kStrictlyOff = 0.0005;
constexpr double kClearly = 2.0;        // times the power
constexpr int kMostAside = 3;           // turns that a side line lies off the bars
constexpr int kFewBars = 12;            // whine is 12 and more times the firings' rate, but for engines of more than 12 cylinders

bool may_be_a_shaft(double hz) { return hz > BrushedMotor::least_shaft_hz && hz < BrushedMotor::most_shaft_hz; }

double power_of(const OrderLine& line) { return *std::max_element(line.mean_square.begin(), line.mean_square.end()); }

/// The family's lines against one of them; what turns with the clicks is theirs.
std::vector<OrderLine> lines_against(const MovingFamily& family, double ratio, std::optional<double> click_hz) {
    constexpr double near_a_tooth = 0.03;   // of the clicks' rate
    std::vector<OrderLine> lines = family.lines;
    if (click_hz)
        std::erase_if(lines, [&](const OrderLine& line) {
            const double number = line.ratio * family.mean_hz / *click_hz;
            return std::abs(line.ratio - ratio) > kOff && number > 0.5 && std::abs(number - std::round(number)) < near_a_tooth;
        });
    for (OrderLine& line : lines) line.ratio /= ratio;
    return lines;
}

const OrderLine* line_at(const std::vector<OrderLine>& lines, double ratio, double off) {
    const auto found = std::find_if(lines.begin(), lines.end(), [=](const OrderLine& line) { return std::abs(line.ratio - ratio) < off; });
    return found == lines.end() ? nullptr : &*found;
}

/// Lines at the turns, and at one or two of them off the bars; none where no line is one turn off (two lines as far on either side may
/// be a regulator's), nor where a stronger one lies nearer: firings stand in combs about a whine, of which a higher line meets a turn.
int turns_beside(const std::vector<OrderLine>& lines, double bars_hz, int bars, double off) {
    constexpr double much_weaker = 0.0025;   // of the line at the bars: 26 dB
    const double turn = 1.0 / bars;
    const OrderLine* lead = line_at(lines, 1.0, off);
    if (!may_be_a_shaft(turn * bars_hz) || !lead) return 0;
    const auto there = [&](double ratio) {
        const OrderLine* line = line_at(lines, ratio, off);
        return line && power_of(*line) > much_weaker * power_of(*lead) ? 1 : 0;
    };
    double nearer = 0, next_power = 0;
    for (const OrderLine& line : lines) {
        const double away = std::abs(line.ratio - 1.0);
        if (away > kOff && away < 0.75 * turn) nearer = std::max(nearer, power_of(line));
        if (std::abs(away - turn) < off) next_power = std::max(next_power, power_of(line));
    }
    const int next = there(1.0 - turn) + there(1.0 + turn);
    return next == 0 || nearer > next_power ? 0 : next + there(turn) + there(1.0 - 2.0 * turn) + there(1.0 + 2.0 * turn);
}

/// Lines one off a lead of six may be a faulty stator's: then its own frequency, or twice or three times that, stands over them.
bool may_be_a_stators(const std::vector<OrderLine>& lines, int bars) {
    constexpr int sixths = 6;
    if (bars % sixths != 0) return false;
    double aside = 0, low = 0;
    for (const double sign : {-1.0, 1.0})
        if (const OrderLine* line = line_at(lines, 1.0 + sign / bars, kOff)) aside = std::max(aside, power_of(*line));
    for (const double order : {1.0, 2.0, 3.0})
        if (const OrderLine* line = line_at(lines, order / sixths, kOff)) low = std::max(low, power_of(*line));
    return low >= aside;
}

}  // namespace

bool has_turns(const MovingFamily& family, std::optional<double> click_hz) {
    const std::vector<OrderLine> lines = lines_against(family, 1.0, click_hz);
    for (int bars = BrushedMotor::least_bars; bars <= BrushedMotor::most_bars; ++bars)
        if (turns_beside(lines, family.mean_hz, bars, kOff) >= 2) return true;
    return false;
}

bool has_turns_of_no_alternator(const MovingFamily& family, std::optional<double> click_hz) {
    if (family.lines.empty()) return false;
    const auto weaker = [](const OrderLine& a, const OrderLine& b) { return power_of(a) < power_of(b); };
    const OrderLine lead = *std::max_element(family.lines.begin(), family.lines.end(), weaker);
    const std::vector<OrderLine> lines = lines_against(family, lead.ratio, click_hz);
    const bool leads = std::none_of(lines.begin(), lines.end(), [&](const OrderLine& line) {
        return std::abs(line.ratio - 1.0) > kOff && kClearly * power_of(line) > power_of(lead);
    });
    if (!leads) return false;   // of a faulty stator's lines the fifth and the seventh never do
    for (int bars = BrushedMotor::least_bars; bars <= kFewBars; ++bars)
        if (turns_beside(lines, lead.ratio * family.mean_hz, bars, kStrictlyOff) >= 2 && !may_be_a_stators(lines, bars)) return true;
    return false;
}

int turns_of_side_line(const MovingFamily& family) {
    int best = 0, most = 1;   // of so many lines chance makes one
    for (int at = BrushedMotor::least_bars - kMostAside; at <= BrushedMotor::most_bars + kMostAside; ++at) {
        if (at < 2 || !may_be_a_shaft(family.mean_hz / at)) continue;
        int found = 0;
        for (const OrderLine& line : family.lines) {
            const double turns = line.ratio * at, whole = std::round(turns);
            const bool trivial = std::abs(line.ratio - std::round(line.ratio)) < kOff;   // its own multiples fit any shaft
            found += !trivial && whole >= 1.0 && std::abs(turns - whole) < kOff * at && whole <= 2.0 * BrushedMotor::most_bars ? 1 : 0;
        }
        if (found <= most) continue;
        most = found;
        best = at;
    }
    return best;
}

double bars_over_followed(const MovingFamily& family) {
    double ratio = 1.0, most = 0.0;
    for (const double part : {1.0 / 2.0, 1.0 / 3.0})   // a multiple was followed
        if (const OrderLine* line = line_at(family.lines, part, kOff))
            if (const OrderLine* own = line_at(family.lines, 1.0, kOff); own && power_of(*line) > power_of(*own)) return part;
    const int at = turns_of_side_line(family);
    for (const OrderLine& line : family.lines)
        if (std::abs(line.ratio - 1.0) < kOff) most = std::max(most, kClearly * power_of(line));
    for (const OrderLine& line : family.lines) {
        const double aside = line.ratio * at - at;
        if (at == 0 || std::abs(aside) > kMostAside + 0.5 || std::abs(aside - std::round(aside)) > kOff * at || power_of(line) <= most) continue;
        most = power_of(line);
        ratio = line.ratio;
    }
    return ratio;
}

}  // namespace hushtrace
