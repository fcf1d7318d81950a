#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "rpm_log_columns.hpp"

namespace hushtrace {

/// An engine log's rows as numbers, in the file's order and units.
struct LogRows {
    LogColumns columns;
    std::vector<double> time_s, speed;
    bool time_is_clock = false;  ///< times of day, in seconds from the first row's midnight
    std::size_t unread = 0;      ///< rows without a time or a speed that can be read, or a negative speed
    bool cut = false;            ///< more rows than are read: two million
    std::string fault;           ///< why there are none, in words that follow "it "
};
/// Finds the header, if there is one, and reads the rows under it.
LogRows rows_of_log(std::string_view text);

}  // namespace hushtrace
