#pragma once
#include "hushtrace/job/job.hpp"

/// What a take can be used for, by what is written down of it.
namespace hushtrace {

/// Whether the engine, or what stands for it in a hybrid, is awake in a take.
bool engine_active(const Take& take);
/// Whether a take was made with the set-up's own inputs shorted.
bool is_floor_take(const Take& take);
/// Whether nothing but noise, or near-silence, was played.
bool plays_nothing(const Take& take);
/// Whether that is so of the source as it is used: at the amplifier's input, normal hookup, on, not muted, no overload.
bool is_noise_at_input(const Take& take);

}  // namespace hushtrace
