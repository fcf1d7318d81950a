#include "hushtrace/job/rpm_log.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <tuple>

#include "hushtrace/job/atomic_file.hpp"
#include "hushtrace/job/spelling.hpp"
#include "hushtrace/signal/error.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "rpm_log_columns.hpp"
#include "rpm_log_rows.hpp"
#include "text_table.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t kLargestLog = std::size_t{64} << 20;
constexpr double kFastestLogged_rpm = 20000.0;  // common practice, no source

/// Why a log can't be used, in words that follow "its log ".
struct Unusable {
    std::string why;
};

double median_of(std::vector<double> values) {
    if (values.empty()) return 0.0;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

class LogReading {
public:
    LogReading(const std::string& take, const RpmLogHints& hints, std::vector<Warning>& warnings)
        : take_(take), hints_(hints), warnings_(warnings) {}

    RpmLog run(std::string_view text) {
        LogRows rows = rows_of_log(text);
        if (!rows.fault.empty()) throw Unusable{rows.fault};
        if (rows.cut) warn("rpm_log_values", "has more than two million rows; the later ones are left out");
        if (rows.columns.speed_header == "no header")
            warn("rpm_log_units", "has no header; its first column is taken as the time, its second as the speed");
        if (rows.columns.more_speeds)
            warn("rpm_log_units", fmt::format("has more than one column of engine speed; {} is read",
                                              in_quotes(rows.columns.speed_header)));
        settle_time(rows);
        settle_speed(rows);
        RpmLog log = in_order(rows);
        drop_spikes(log);
        find_spans(log);
        compare_with_take(log);
        return log;
    }

private:
    void warn(const char* code, const std::string& text) {
        warnings_.push_back({code, fmt::format("{}: the engine speed log {}", take_, text), take_});
    }

    /// Seconds from the take's start, in place.
    void settle_time(LogRows& rows) {
        if (rows.time_s.size() < 2) throw Unusable{"holds fewer than two rows with a time and a speed"};
        const double first = rows.time_s.front();
        double unit = rows.columns.time_unit_s;
        std::vector<double> steps;
        for (std::size_t i = 1; i < rows.time_s.size(); ++i)
            if (const double step = std::abs(rows.time_s[i] - rows.time_s[i - 1]); step > 0) steps.push_back(step);
        if (steps.empty()) throw Unusable{"has the same time in all of its rows"};
        const double step = median_of(steps);
        const auto [least, most] = std::minmax_element(rows.time_s.begin(), rows.time_s.end());
        const double span = *most - *least;
        if (rows.time_is_clock) {
            unit = 1.0;
        } else if (first > 1e8 && unit <= 0) {  // an epoch: seconds, or a finer unit
            unit = first > 1e17 ? 1e-9 : first > 1e14 ? 1e-6 : first > 1e11 ? 1e-3 : 1.0;
        } else if (unit <= 0 || (unit == 1.0 && hints_.duration_s && span > 100.0 * *hints_.duration_s)) {
            unit = guessed_time_unit(step, span, unit > 0);
        }
        bool from_first = first * unit > 1e6 || rows.time_is_clock;
        if (hints_.duration_s && *least * unit > *hints_.duration_s) from_first = true;
        double start = from_first ? *least : 0.0;
        if (rows.time_is_clock && hints_.start_of_day_s && hints_.duration_s) {
            // a clock that was running when the take began tells where the take lies in a longer log
            const double from = *hints_.start_of_day_s, to = from + *hints_.duration_s;
            const double shared = std::min(to, *most) - std::max(from, *least);
            if (shared > 0.5 * *hints_.duration_s) start = from;
        }
        for (double& time : rows.time_s) time = (time - start) * unit;
        own_clock_ = from_first;
        if (from_first)
            warn("rpm_log_time", start == *least
                                     ? "has a clock of its own; its first row is taken as the take's start"
                                     : "has a clock of its own, read against the time of recording");
    }

    double guessed_time_unit(double step, double span, bool said_seconds) {
        const auto fits = [&](double unit) {
            const double ratio = span * unit / hints_.duration_s.value_or(1.0);
            return ratio > 0.5 && ratio < 2.0;
        };
        const double finer = step >= 5e3 ? 1e-6 : 1e-3;
        if (said_seconds) {
            if (!fits(1e-3)) return 1.0;
        } else if (hints_.duration_s && fits(1.0) != fits(finer)) {
            if (fits(1.0)) return 1.0;
        } else if (step <= 5.0) {
            return 1.0;
        } else if (step < 20.0) {
            throw Unusable{
                fmt::format("doesn't say the unit of its time, and steps of {:g} may be seconds or "
                            "milliseconds: head the column time_s or time_ms",
                            step)};
        }
        warn("rpm_log_units",
             fmt::format("counts its time in {}, by its range", finer < 1e-4 ? "microseconds" : "milliseconds"));
        return finer;
    }

    /// rpm, in place.
    void settle_speed(LogRows& rows) {
        std::vector<double> turning;
        for (const double speed : rows.speed)
            if (speed > 0) turning.push_back(speed);
        if (turning.empty())
            throw Unusable{std::all_of(rows.speed.begin(), rows.speed.end(), [](double s) { return s == 0.0; })
                               ? "reads 0 throughout: the engine stood, or the reader was not connected"
                               : "holds no speed above zero"};
        std::sort(turning.begin(), turning.end());
        const double low = turning[turning.size() / 20], middle = turning[turning.size() / 2],
                     high = turning[turning.size() - 1 - turning.size() / 20];
        const auto possible = [&](double unit) {
            return middle * unit >= 200.0 && high * unit <= 12000.0 && low * unit >= 60.0;
        };
        double unit = rows.columns.speed_unit_rpm;
        const std::string range = fmt::format("{:g} to {:g} under {}", low, high, in_quotes(rows.columns.speed_header));
        if (unit > 0 && unit != 1.0 && possible(unit)) {
            // said, and possible
        } else if (possible(1.0)) {
            if (unit > 0 && unit != 1.0) warn("rpm_log_units", "counts " + range + ": read as rpm, by its range");
            unit = 1.0;
        } else {
            unit = guessed_speed_unit(low, middle, high, range);
        }
        std::size_t left_out = rows.unread;
        const double most = std::min(kFastestLogged_rpm, std::max(8000.0, 6 * middle * unit));
        for (double& speed : rows.speed) {
            speed *= unit;
            if (speed >= 0.0 && speed <= most) continue;
            ++left_out;
            speed = -1.0;
        }
        std::size_t kept = 0;
        for (std::size_t i = 0; i < rows.speed.size(); ++i) {
            if (rows.speed[i] < 0.0) continue;
            rows.time_s[kept] = rows.time_s[i];
            rows.speed[kept++] = rows.speed[i];
        }
        rows.time_s.resize(kept);
        rows.speed.resize(kept);
        if (left_out > 0)
            warn("rpm_log_values", fmt::format("has {} row{} without a speed that an engine can have; left out",
                                               left_out, left_out == 1 ? "" : "s"));
    }

    /// Where rpm isn't possible, the range may still leave one unit.
    double guessed_speed_unit(double low, double middle, double high, const std::string& range) {
        std::vector<std::pair<double, const char*>> left;
        const auto fits = [&](double unit, double least) {
            if (low * unit < least || high * unit > 9000.0 || middle * unit < 450.0 || middle * unit > 4500.0)
                return false;
            return !hints_.rpm || std::abs(std::log(middle * unit / *hints_.rpm)) < std::log(1.5);
        };
        if (fits(60.0, 400.0)) left.emplace_back(60.0, "turns a second");
        if (fits(1000.0, 400.0)) left.emplace_back(1000.0, "thousands of rpm");
        if (middle > 1e5 && fits(0.001, 400.0)) left.emplace_back(0.001, "thousandths of rpm");
        if (left.size() != 1)
            throw Unusable{
                fmt::format("counts {}: no engine's speed in rpm, and no other unit is clear. Head the "
                            "column rpm, rev/s or 'rpm x1000'",
                            range)};
        warn("rpm_log_units", fmt::format("counts {}: read as {}, by its range", range, left.front().second));
        return left.front().first;
    }

    /// Ascending times, each once.
    RpmLog in_order(LogRows& rows) {
        const std::size_t count = rows.time_s.size();
        if (count < 2) throw Unusable{"holds fewer than two rows with a speed that an engine can have"};
        std::size_t back = 0, worst_at = 0;
        double worst = 0;
        const auto look_for_steps_back = [&] {
            back = worst_at = 0;
            worst = 0;
            for (std::size_t i = 1; i < count; ++i) {
                const double step = rows.time_s[i] - rows.time_s[i - 1];
                if (step >= 0) continue;
                ++back;
                if (step < worst) {
                    worst = step;
                    worst_at = i;
                }
            }
        };
        look_for_steps_back();
        if (back > (9 * count) / 10 && count > 4) {  // the newest row first
            std::reverse(rows.time_s.begin(), rows.time_s.end());
            std::reverse(rows.speed.begin(), rows.speed.end());
            warn("rpm_log_time", "has its newest row first; turned round");
            look_for_steps_back();
        }
        if (back > 0) {
            if (worst < -2.0 || back > std::max<std::size_t>(2, count / 20))
                throw Unusable{fmt::format("goes back in time {}, by {:.3g} s after {:.4g} s: two logs in one file?",
                                           back == 1 ? "once" : fmt::format("{} times", back), -worst,
                                           rows.time_s[worst_at - 1])};
            std::vector<std::pair<double, double>> pairs;
            for (std::size_t i = 0; i < count; ++i) pairs.emplace_back(rows.time_s[i], rows.speed[i]);
            std::stable_sort(pairs.begin(), pairs.end(), [](auto& a, auto& b) { return a.first < b.first; });
            for (std::size_t i = 0; i < count; ++i) std::tie(rows.time_s[i], rows.speed[i]) = pairs[i];
            warn("rpm_log_time",
                 fmt::format("has {} row{} out of order; sorted by time", back, back == 1 ? "" : "s"));
        }
        RpmLog log;
        log.own_clock = own_clock_;
        spread_repeats(rows, log);
        return log;
    }

    /// Rows that share a time lie evenly between it and the next one: a clock that counts coarsely.
    void spread_repeats(const LogRows& rows, RpmLog& log) {
        std::size_t repeats = 0;
        double last_step = 0;
        for (std::size_t i = 0; i < rows.time_s.size();) {
            std::size_t next = i;
            while (next < rows.time_s.size() && rows.time_s[next] == rows.time_s[i]) ++next;
            const std::size_t same = next - i;
            if (next < rows.time_s.size()) last_step = rows.time_s[next] - rows.time_s[i];
            const double room = std::min(last_step, 1.0);
            repeats += same - 1;
            for (std::size_t k = 0; k < same; ++k) {
                log.time_s.push_back(rows.time_s[i] + room * static_cast<double>(k) / static_cast<double>(same));
                log.rpm.push_back(rows.speed[i + k]);
            }
            i = next;
        }
        if (repeats > 0)
            warn("rpm_log_time",
                 fmt::format("repeats a time in {} of its {} rows; spread evenly", repeats, rows.time_s.size()));
    }

    /// A single row far from both its neighbours is a fault of the reader: no engine can do that.
    void drop_spikes(RpmLog& log) {
        std::vector<double> time{log.time_s.front()}, rpm{log.rpm.front()};
        std::size_t dropped = 0;
        for (std::size_t i = 1; i < log.rpm.size(); ++i) {
            if (i + 1 < log.rpm.size() && log.time_s[i + 1] - time.back() < 1.5) {
                const double before = rpm.back(), after = log.rpm[i + 1], mean = 0.5 * (before + after);
                if (std::abs(before - after) < 0.15 * mean && std::abs(log.rpm[i] - mean) > 0.5 * mean) {
                    ++dropped;
                    continue;
                }
            }
            time.push_back(log.time_s[i]);
            rpm.push_back(log.rpm[i]);
        }
        log.time_s = std::move(time);
        log.rpm = std::move(rpm);
        if (dropped > 0)
            warn("rpm_log_values", fmt::format("has {} single row{} far from both neighbours; left out", dropped,
                                               dropped == 1 ? "" : "s"));
    }

    void find_spans(RpmLog& log) {
        std::vector<double> steps, sizes;
        for (std::size_t i = 1; i < log.time_s.size(); ++i) steps.push_back(log.time_s[i] - log.time_s[i - 1]);
        log.interval_s = median_of(steps);
        if (!(log.interval_s <= 10.0))
            throw Unusable{fmt::format("has a row each {:.3g} s only; 1 s and less are wanted", log.interval_s)};
        const double bridged = std::max(1.0, 3.5 * log.interval_s);
        std::size_t gaps = 0;
        double longest = 0, longest_at = 0, from = log.time_s.front();
        for (std::size_t i = 1; i < log.time_s.size(); ++i) {
            if (steps[i - 1] <= bridged) continue;
            ++gaps;
            if (steps[i - 1] > longest) {
                longest = steps[i - 1];
                longest_at = log.time_s[i - 1];
            }
            log.known.emplace_back(from, log.time_s[i - 1]);
            from = log.time_s[i];
        }
        log.known.emplace_back(from, log.time_s.back());
        std::erase_if(log.known, [](const auto& span) { return !(span.second > span.first); });
        if (log.known.empty()) throw Unusable{"holds single rows far apart"};
        if (gaps > 0)
            warn("rpm_log_gaps",
                 fmt::format("has {} gap{}, the longest of {:.1f} s at {:.1f} s: the speed is not known there", gaps,
                             gaps == 1 ? "" : "s", longest, longest_at));
        std::vector<double> sorted = log.rpm;
        std::sort(sorted.begin(), sorted.end());
        log.step_rpm = sorted.back() - sorted.front();
        for (std::size_t i = 1; i < sorted.size(); ++i)
            if (const double step = sorted[i] - sorted[i - 1]; step > 1e-6)
                log.step_rpm = std::min(log.step_rpm, step);
        double stalled_s = 0;
        for (std::size_t i = 1; i < log.rpm.size(); ++i)
            if (log.rpm[i] < 50.0 && log.rpm[i - 1] < 50.0 && steps[i - 1] <= bridged) stalled_s += steps[i - 1];
        if (stalled_s > 0.5)
            warn("rpm_log_stalled", fmt::format("says that the engine stood for {:.1f} s", stalled_s));
    }

    void compare_with_take(const RpmLog& log) {
        if (!hints_.duration_s) return;
        const double covered = log.known_s(0.0, *hints_.duration_s);
        if (covered < 0.05 * *hints_.duration_s)
            throw Unusable{fmt::format("runs from {:.1f} to {:.1f} s, the take from 0 to {:.1f} s",
                                       log.time_s.front(), log.time_s.back(), *hints_.duration_s)};
        if (covered < 0.9 * *hints_.duration_s - 1.0)
            warn("rpm_log_short",
                 fmt::format("knows the speed for {:.1f} of the take's {:.1f} s", covered, *hints_.duration_s));
    }

    const std::string& take_;
    const RpmLogHints& hints_;
    std::vector<Warning>& warnings_;
    bool own_clock_ = false;
};

}  // namespace

std::optional<double> RpmLog::at(double when_s) const {
    const auto inside = [when_s](const auto& span) { return when_s >= span.first && when_s <= span.second; };
    if (std::none_of(known.begin(), known.end(), inside)) return std::nullopt;
    const auto after = std::lower_bound(time_s.begin(), time_s.end(), when_s);
    const auto i = static_cast<std::size_t>(after - time_s.begin());
    if (i == 0 || *after == when_s) return rpm[i];
    const double share = (when_s - time_s[i - 1]) / (time_s[i] - time_s[i - 1]);
    return rpm[i - 1] + share * (rpm[i] - rpm[i - 1]);
}

double RpmLog::known_s(double from_s, double to_s) const {
    double sum = 0;
    for (const auto& [from, to] : known) sum += std::max(0.0, std::min(to, to_s) - std::max(from, from_s));
    return sum;
}

std::optional<double> RpmLog::mean_rpm(double from_s, double to_s) const {
    if (!(to_s > from_s) || known_s(from_s, to_s) < 0.5 * (to_s - from_s)) return std::nullopt;
    constexpr int kSteps = 2000;
    double sum = 0, count = 0;
    for (int i = 0; i < kSteps; ++i)
        if (const auto speed = at(from_s + (i + 0.5) / kSteps * (to_s - from_s))) {
            sum += *speed;
            count += 1;
        }
    if (count == 0) return std::nullopt;
    return sum / count;
}

std::optional<RpmLog> parse_rpm_log(std::string_view text, const std::string& take, const RpmLogHints& hints,
                                    std::vector<Warning>& warnings) {
    try {
        return LogReading(take, hints, warnings).run(text);
    } catch (const Unusable& fault) {
        warnings.push_back(
            {"rpm_log_unusable", fmt::format("{}: the engine speed log is not used: it {}", take, fault.why), take});
        return std::nullopt;
    }
}

namespace {

/// By the sound's header alone; unset where it can't be read, or doesn't say.
std::optional<double> promised_duration_s(const OpenedJob& job, const Take& take) {
    try {
        const TakeReader reader(take_path(job, take));
        if (const auto frames = reader.promised_frames()) return static_cast<double>(*frames) / reader.sample_rate_hz();
    } catch (const Error&) {
        return std::nullopt;  // the log is judged without the sound
    }
    return std::nullopt;
}

}  // namespace

std::optional<RpmLog> rpm_log_of(const OpenedJob& job, const Take& take, std::vector<Warning>& warnings,
                                 std::optional<double> duration_s) {
    if (!take.rpm_log) return std::nullopt;
    RpmLogHints hints;
    hints.duration_s = duration_s ? duration_s : promised_duration_s(job, take);
    if (take.conditions.rpm.value_or(0) > 0) hints.rpm = take.conditions.rpm;
    if (take.recorded_at) hints.start_of_day_s = time_of_day_s(*take.recorded_at);
    try {
        Take log = take;  // checked as a take's sound is: it stays inside the folder
        log.file = *take.rpm_log;
        return parse_rpm_log(read_whole(take_path(job, log), kLargestLog), take.file, hints, warnings);
    } catch (const Error& error) {
        Take log = take;
        log.file = *take.rpm_log;
        warnings.push_back({"rpm_log_unusable",
                            fmt::format("{}: the engine speed log is not used: {}", take.file,
                                        named_as_in_job(job, log, error.what())),
                            take.file});
        return std::nullopt;
    }
}

}  // namespace hushtrace
