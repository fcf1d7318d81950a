#include <fmt/format.h>

#include "../takes/told_reader.hpp"
#include "hushtrace/diagnose/chain_analysis.hpp"

namespace hushtrace {

ChainAnalysis analyse_chain(const OpenedJob& job, const GainAnalysis* gain) {
    Oddities oddities;
    ChainAnalysis out = analyse_chain(job, [&](const Take& take) {
        return std::make_unique<ToldReader>(take_path(job, take), oddities[take.file]);
    }, gain);
    warn_of_oddities(oddities, out.warnings);
    return out;
}

}  // namespace hushtrace
