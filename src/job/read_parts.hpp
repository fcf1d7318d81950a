#pragma once
#include "field_reader.hpp"

namespace hushtrace {

Take read_take(Fields& fields);
Observation read_observation(Fields& fields);
PlayedTone read_tone(Fields& fields);

}  // namespace hushtrace
