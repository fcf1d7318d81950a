#include <string_view>

#include "hushtrace/live/live_screen.hpp"
#include "typed_keys.hpp"

namespace hushtrace {

std::vector<int> keys_from_bytes(std::string_view bytes) {
    std::vector<int> keys;
    for (std::size_t at = 0; at < bytes.size(); ++at) {
        const char byte = bytes[at];
        const bool sequence = byte == '\x1b' && at + 1 < bytes.size() && (bytes[at + 1] == '[' || bytes[at + 1] == 'O');
        if (!sequence) {
            if (byte >= ' ' && byte <= '~') keys.push_back(byte);
            continue;
        }
        at += 2;
        while (at < bytes.size() && (bytes[at] < '@' || bytes[at] > '~')) ++at;  // to the letter that ends it
        if (at < bytes.size() && bytes[at] == 'A') keys.push_back(key_up);
        if (at < bytes.size() && bytes[at] == 'B') keys.push_back(key_down);
    }
    return keys;
}

}  // namespace hushtrace
