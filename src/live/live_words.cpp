#include <string_view>

#include "hushtrace/live/live_snapshot.hpp"

namespace hushtrace {

std::string_view to_word(LiveTask task) {
    return task == LiveTask::gain ? "gain" : "follow";
}

std::string_view to_word(LiveState state) {
    switch (state) {
        case LiveState::waiting: return "waiting";
        case LiveState::running: return "running";
        case LiveState::ended: break;
    }
    return "ended";
}

std::string_view to_word(ToneState state) {
    switch (state) {
        case ToneState::absent: return "absent";
        case ToneState::moving: return "moving";
        case ToneState::clean: return "clean";
        case ToneState::distorted: return "distorted";
        case ToneState::unsure: return "unsure";
        case ToneState::overloaded: break;
    }
    return "overloaded";
}

std::string_view to_word(LiveMove move) {
    switch (move) {
        case LiveMove::none: return "none";
        case LiveMove::up: return "up";
        case LiveMove::hold: return "hold";
        case LiveMove::back: return "back";
        case LiveMove::stay: break;
    }
    return "stay";
}

}  // namespace hushtrace
