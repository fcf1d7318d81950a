#pragma once
#include <cstdio>
#include <optional>
#include <string>

#include "hushtrace/live/share_page.hpp"

namespace hushtrace::cli {

/// --share: the phone page beside a live session, from its making to its end; without a wish nothing at all.
class SharedPage {
public:
    /// throws Error invalid_request, in the words of the option
    SharedPage(LiveBoard& board, const std::optional<std::string>& wish);
    /// Says where the page is and what to beware of; on a terminal draws the code to scan, and waits until a phone has come,
    /// Enter is pressed, the program is asked to end, or a minute is over.
    void announce(std::FILE* voice) const;
    /// Empty where there is none, or no other computer can reach it.
    std::string address() const { return page_ && page_->beyond_this_computer() ? page_->address() : ""; }

private:
    std::optional<SharePage> page_;
};

}  // namespace hushtrace::cli
