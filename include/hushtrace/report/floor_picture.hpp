#pragma once
#include <string>
#include <vector>

#include "hushtrace/diagnose/floor_record.hpp"
#include "hushtrace/report/picture.hpp"

/// The noise floor by thirds of octaves as a picture, as those of picture.hpp: SVG in two sizes, coloured by the page, all text escaped.
namespace hushtrace {

/// The conditions that a channel's picture shows, at most four: the engine's plain states first, then the one with most loads. The
/// pointers point into the record.
std::vector<const ConditionFloor*> drawn_conditions(const FloorRecord& record, Channel channel);
/// The channels that have a picture, in the order of the takes.
std::vector<Channel> drawn_channels(const FloorRecord& record);

/// Level against band, a line with its own dash and shape for each condition, the interface's own shaded where a take with the
/// inputs shorted tells it. dBV where all are calibrated, else dBFS.
///   id   unique in the page: letters, digits and '-'
std::string third_octave_svg(const FloorRecord& record, Channel channel, PictureSize size, const std::string& id, const std::string& title);
/// The same in sentences, unescaped: the loudest band of each condition, and by how much the running engine is louder.
std::vector<std::string> third_octave_words(const FloorRecord& record, Channel channel);

}  // namespace hushtrace
