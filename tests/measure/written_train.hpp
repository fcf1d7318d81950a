#pragma once
#include <vector>

#include "hushtrace/measure/impulse_train.hpp"

/// Trains of clicks with a rate that holds and a profile that is written down.
namespace written_train {

inline hushtrace::Track steady(double hz, double seconds = 20) { return {{0.0, seconds}, {hz, hz}}; }
inline hushtrace::ImpulseTrain train_of(std::vector<double> profile, double hz) {
    hushtrace::ImpulseTrain train;
    train.rate = steady(hz);
    train.profile = std::move(profile);
    return train;
}
inline std::vector<double> profile_with(const std::vector<std::size_t>& loud, double height = 9) {
    std::vector<double> out(24, 1.0);
    for (const std::size_t i : loud) out[i] = height;
    if (!loud.empty()) out[loud[loud.size() / 2]] += 1;
    return out;
}

}  // namespace written_train
