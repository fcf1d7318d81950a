#include "steady_survey.hpp"

#include "hushtrace/measure/column_map.hpp"

namespace hushtrace {
namespace {

constexpr double kLineFalseAlarms = 0.001;  // lines that noise alone makes, a channel of a take

}  // namespace

void survey_steady(ChannelSurvey& channel, std::span<const double> samples, double sample_rate_hz) {
    const ColumnMap map = column_map(samples, sample_rate_hz);
    channel.still = still_spectrum(map, kLineFalseAlarms);
}

}  // namespace hushtrace
