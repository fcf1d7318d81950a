#include "take_kind.hpp"

namespace hushtrace {

bool engine_active(const Take& take) { return engine_turns(take.conditions.engine) || take.conditions.engine == Engine::ready; }

bool is_floor_take(const Take& take) { return take.conditions.has(Hookup::inputs_shorted); }

bool plays_nothing(const Take& take) { return !take.tone || std::holds_alternative<NearSilence>(take.tone->waveform); }

bool is_noise_at_input(const Take& take) {
    const bool normal = take.conditions.hookup.size() == 1 && take.conditions.has(Hookup::normal);
    return plays_nothing(take) && normal && take.conditions.point == Point::amp_input &&
           take.conditions.source.value_or(SourceState::on) != SourceState::off &&
           !take.has(TakeFault::source_muted) && !take.has(TakeFault::overload);
}

}  // namespace hushtrace
