#include "knob_script.hpp"

#include <fmt/format.h>

#include <fstream>
#include <sstream>

#include "values.hpp"

namespace hushtrace::cli {
namespace {

constexpr double longest_s = longest_capture_s;

}  // namespace

std::vector<KnobTurn> read_knob_script(const std::string& file) {
    std::ifstream in(file);
    if (!in) throw Error(ErrorKind::file_unreadable, fmt::format("--knob-script: {} can't be read", in_quotes(file)));
    std::vector<KnobTurn> turns;
    std::string line;
    for (int number = 1; std::getline(in, line); ++number) {
        line = line.substr(0, line.find('#'));
        std::istringstream words(line);
        std::string time, volume, more;
        if (!(words >> time)) continue;
        const std::string place = fmt::format("--knob-script: line {}", number);
        if (!(words >> volume) || words >> more) refuse(place + ": a time [s] and a volume are wanted");
        const KnobTurn turn{number_from(place, std::string_view(time)), number_from(place, std::string_view(volume))};
        if (turn.time_s < 0 || turn.time_s > longest_s || (!turns.empty() && turn.time_s < turns.back().time_s))
            refuse(place + ": times must go forward from 0");
        if (turn.volume < 0 || turn.volume > highest_volume) refuse(fmt::format("{}: {:g} is no volume", place, turn.volume));
        turns.push_back(turn);
    }
    if (turns.empty()) refuse("--knob-script: no turn in it");
    return turns;
}

}  // namespace hushtrace::cli
