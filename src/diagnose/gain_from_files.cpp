#include "hushtrace/diagnose/gain_analysis.hpp"
#include "hushtrace/signal/take_file.hpp"

namespace hushtrace {

GainAnalysis analyse_gain(const OpenedJob& job) {
    return analyse_gain(job,
                        [&](const Take& take) { return std::make_unique<TakeReader>(take_path(job, take)); });
}

}  // namespace hushtrace
