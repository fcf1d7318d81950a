#pragma once
#include <optional>

#include "hushtrace/signal/conditions.hpp"

namespace hushtrace {

/// Right for left, front or rear; none for channels without a twin.
constexpr std::optional<Channel> other_side(Channel channel) {
    switch (channel) {
        case Channel::left: return Channel::right;
        case Channel::right: return Channel::left;
        case Channel::rear_left: return Channel::rear_right;
        case Channel::rear_right: return Channel::rear_left;
        default: return std::nullopt;
    }
}

}  // namespace hushtrace
