#pragma once
#include "fields.hpp"
#include "scenario.hpp"

namespace hushtrace::simulated {

/// Source, cables, amplifier and set-up of a scenario file, each from its own object. All throw as read_scenario
/// does.
SourcePart read_source(Fields fields);
LeadPart read_lead(Fields fields);
FeedPart read_feed(Fields fields);
AmplifierPart read_amplifier(Fields fields);
SpeakerLeadsPart read_speaker_leads(Fields fields);
LaptopPart read_laptop(Fields fields);
InterfacePart read_interface(Fields fields);

}  // namespace hushtrace::simulated
