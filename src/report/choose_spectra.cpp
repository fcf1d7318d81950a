#include <algorithm>
#include <limits>
#include <set>

#include "hushtrace/report/page.hpp"
#include "hushtrace/report/picture.hpp"

namespace hushtrace {
namespace {

const Take* take_of(const Job& job, const TakePicture& picture) {
    for (const Take& one : job.takes)
        if (one.file == picture.take) return &one;
    return nullptr;
}

double strongest_mark(const TakePicture& picture) {
    double strongest = -std::numeric_limits<double>::infinity();
    for (const MarkedLine& one : picture.lines) strongest = std::max(strongest, one.level_dbfs);
    return strongest;
}

bool marks_all_of(const TakePicture& picture, const TakePicture& other) {
    return std::all_of(other.lines.begin(), other.lines.end(), [&](const MarkedLine& wanted) {
        return std::any_of(picture.lines.begin(), picture.lines.end(),
                           [&](const MarkedLine& one) { return one.source_id == wanted.source_id; });
    });
}

/// The picture to lay under one with the engine running: alike in all but the engine.
const TakePicture* twin_without_engine(const Job& job, const NoiseAnalysis& analysis,
                                       const TakePicture& picture) {
    const Take* running = take_of(job, picture);
    if (!running || !engine_turns(running->conditions.engine)) return nullptr;
    const TakePicture* best = nullptr;
    for (const TakePicture& other : analysis.pictures) {
        const Take* still = take_of(job, other);
        if (!still || engine_turns(still->conditions.engine) || still->tone ||
            other.channel != picture.channel)
            continue;
        if (still->conditions.point != running->conditions.point) continue;
        if (still->conditions.hookup != running->conditions.hookup || !has_spectrum(other)) continue;
        if (!best || still->conditions.volume == running->conditions.volume) best = &other;
        if (still->conditions.volume == running->conditions.volume) break;
    }
    return best;
}

}  // namespace

std::vector<SpectrumFigure> choose_spectra(const Job& job, const NoiseAnalysis& analysis, std::size_t most) {
    std::vector<const TakePicture*> pictures;
    for (const TakePicture& one : analysis.pictures)
        if (has_spectrum(one)) pictures.push_back(&one);
    std::stable_sort(pictures.begin(), pictures.end(), [](const TakePicture* a, const TakePicture* b) {
        return strongest_mark(*a) > strongest_mark(*b);
    });
    std::set<std::string> takes;
    std::stable_partition(pictures.begin(), pictures.end(),
                          [&](const TakePicture* one) { return takes.insert(one->take).second; });
    std::vector<SpectrumFigure> figures;
    figures.reserve(pictures.size());
    for (const TakePicture* one : pictures)
        figures.push_back({one, twin_without_engine(job, analysis, *one)});
    // what is already seen under another, and marks no finding that isn't marked there, needs no picture of
    // its own
    const std::vector<SpectrumFigure> all = figures;
    const auto is_seen = [&](const SpectrumFigure& one) {
        return std::any_of(all.begin(), all.end(), [&](const SpectrumFigure& over) {
            return over.under == one.picture && marks_all_of(*over.picture, *one.picture);
        });
    };
    figures.erase(std::remove_if(figures.begin(), figures.end(), is_seen), figures.end());
    if (figures.size() > most) figures.resize(most);
    return figures;
}

}  // namespace hushtrace
