#include "vehicle_script.hpp"

#include <fmt/format.h>

#include <fstream>
#include <sstream>

#include "values.hpp"

namespace hushtrace::cli {
namespace {

std::vector<std::string> parts_of(const std::string& list) {
    std::vector<std::string> parts;
    std::istringstream in(list);
    for (std::string part; std::getline(in, part, ',');)
        if (!part.empty()) parts.push_back(part);
    return parts;
}

void change(Conditions& conditions, const std::string& place, const std::string& what, const std::string& value) {
    if (what == "hookup") {
        conditions.hookup.clear();
        for (const std::string& one : parts_of(value)) conditions.hookup.push_back(word_from<Hookup>(place, std::string_view(one)));
    } else if (what == "engine") {
        conditions.engine = word_from<Engine>(place, std::string_view(value));
        conditions.rpm.reset();
    } else if (what == "rpm") {
        conditions.rpm = number_from(place, std::string_view(value));
        if (!(*conditions.rpm > 0)) throw Error(ErrorKind::invalid_request, place + ": an engine speed is above 0");
    } else if (what == "loads") {
        conditions.loads = value == "none" ? std::vector<std::string>() : parts_of(value);
    } else {
        throw Error(ErrorKind::invalid_request, fmt::format("{}: '{}' is none of hookup, engine, rpm, loads", place, what));
    }
}

/// In all that no line of a script changes, as the session stands; the knob stays where it was turned to.
SimulatedConditions changed_to(const Conditions& conditions, const CaptureSetup& setup) {
    Conditions now = setup.order.take.conditions;
    now.hookup = conditions.hookup;
    now.engine = conditions.engine;
    now.rpm = conditions.rpm;
    now.loads = conditions.loads;
    SimulatedConditions set = setup.simulated(now);
    set.conditions.volume.reset();
    return set;
}

}  // namespace

std::vector<TimedMove> vehicle_moves(const std::string& file, CaptureSetup& setup) {
    std::ifstream in(file);
    if (!in) throw Error(ErrorKind::file_unreadable, fmt::format("--vehicle-script: {} can't be read", in_quotes(file)));
    std::vector<TimedMove> moves;
    Conditions conditions = setup.order.take.conditions;
    std::string line;
    for (int number = 1; std::getline(in, line); ++number) {
        line = line.substr(0, line.find('#'));
        std::istringstream words(line);
        std::string time, what, value, more;
        if (!(words >> time)) continue;
        const std::string place = fmt::format("--vehicle-script: line {}", number);
        if (!(words >> what >> value) || words >> more)
            throw Error(ErrorKind::invalid_request, place + ": a time [s], hookup, engine, rpm or loads, and its value are wanted");
        const double time_s = number_from(place, std::string_view(time));
        if (time_s < 0 || (!moves.empty() && time_s < moves.back().time_s))
            throw Error(ErrorKind::invalid_request, place + ": times must go forward from 0");
        change(conditions, place, what, value);
        setup.vehicle->set_conditions(changed_to(conditions, setup));  // what it can't do it refuses before the session begins
        moves.push_back({time_s, [&setup, conditions] { setup.vehicle->set_conditions(changed_to(conditions, setup)); }});
    }
    if (moves.empty()) throw Error(ErrorKind::invalid_request, "--vehicle-script: nothing is changed in it");
    setup.vehicle->set_conditions(setup.simulated(setup.order.take.conditions));
    return moves;
}

}  // namespace hushtrace::cli
