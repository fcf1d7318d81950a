#include "hushtrace/live/knob_count.hpp"

#include <algorithm>

namespace hushtrace {

KnobCount::KnobCount(std::optional<double> start, double step, std::optional<double> top)
    : place_(start), top_(top), step_(step) {}

void KnobCount::turned_to(double volume, double at_s) {
    by_link_ = true;
    if (turns_.empty() && place_) turns_.push_back({0.0, *place_});
    turns_.push_back({at_s, volume});
    place_ = volume;
}

void KnobCount::said(double by, double at_s) {
    if (!place_) return;
    place_ = std::max(0.0, *place_ + by);
    if (top_) place_ = std::min(*place_, *top_);
    const bool one_movement = last_said_s_ && at_s - *last_said_s_ < one_movement_s;
    last_said_s_ = at_s;
    if (waiting_since_s_) {
        waiting_since_s_ = at_s;
    } else if (!volumes_.empty() && (!last_claimed_ || (one_movement && *volumes_.back() != *place_))) {
        if (one_movement && last_claimed_ && missed_ > 0 && by > 0) --missed_;
        label_last();
    } else {
        waiting_since_s_ = at_s;
    }
}

void KnobCount::begun() {
    waiting_since_s_.reset();
    last_said_s_.reset();
}

void KnobCount::label_last() {
    volumes_.back() = place_;
    last_claimed_ = true;
}

void KnobCount::rested(double from_s, bool louder) {
    const bool first = volumes_.empty();
    starts_.push_back(from_s);
    volumes_.emplace_back();
    if (!place_) return;
    if (by_link_) {
        volumes_.back() = turned_at(from_s + frame_s);
        last_claimed_ = true;
        return;
    }
    if (!first && !last_claimed_ && louder) ++missed_;
    last_claimed_ = false;
    if (first || waiting_since_s_) {
        label_last();
        waiting_since_s_.reset();
    }
}

void KnobCount::merged() {
    if (volumes_.size() < 2) return;
    const auto last = volumes_.back();
    volumes_.pop_back();
    starts_.pop_back();
    if (!volumes_.back()) volumes_.back() = last;
    last_claimed_ = volumes_.back().has_value();
}

std::optional<double> KnobCount::turned_at(double time_s) const {
    std::optional<double> volume;
    for (const Turn& turn : turns_)
        if (!volume || turn.time_s <= time_s) volume = turn.volume;
    return volume;
}

bool KnobCount::at(double now_s) {
    if (volumes_.empty() || !place_) return false;
    if (by_link_) {
        if (now_s - turns_.back().time_s < link_patience_s || turns_.back().time_s < starts_.back() ||
            volumes_.back() == place_)
            return false;
    } else {
        if (!waiting_since_s_ || now_s - *waiting_since_s_ < patience_s) return false;
        waiting_since_s_.reset();
        if (missed_ > 0) {
            --missed_;
            label_last();
            return false;
        }
    }
    starts_.push_back(now_s);
    volumes_.push_back(place_);
    last_claimed_ = true;
    return true;
}

}  // namespace hushtrace
