#include "../takes/told_reader.hpp"
#include "hushtrace/diagnose/gain_analysis.hpp"

namespace hushtrace {

GainAnalysis analyse_gain(const OpenedJob& job, const GainRequest& request) {
    Oddities oddities;
    GainAnalysis out = analyse_gain(job, [&](const Take& take) {
        return std::make_unique<ToldReader>(take_path(job, take), oddities[take.file]);
    }, request);
    warn_of_oddities(oddities, out.warnings);
    return out;
}

}  // namespace hushtrace
