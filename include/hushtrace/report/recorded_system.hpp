#pragma once
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/job/job.hpp"
#include "hushtrace/measure/reading.hpp"

/// What a record's data file says of a system, as far as two records can be held against each other.
namespace hushtrace {

/// One level. dbv carries the calibration's uncertainty, dbfs doesn't; a pad's loss is in dbv alone.
struct RecordedLevel {
    std::optional<Reading> dbfs, dbv;
};
struct RecordedSourceLevel {
    std::string take;
    Channel channel = Channel::left;
    RecordedLevel level;
};
struct RecordedSource {
    std::string id, kind;
    std::optional<double> frequency_hz, frequency_sd_hz, engine_order, engine_order_sd;
    bool sure = true;  ///< false: of the record's faint traces (`unsure`)
    std::vector<RecordedSourceLevel> levels;
    struct Line {
        double frequency_hz = 0, level_dbfs = 0;
    };
    std::vector<Line> lines;  ///< of its family, in its loudest take
};
struct RecordedBand {
    double centre_hz = 0, low_hz = 0, high_hz = 0;
    RecordedLevel level;
};
struct RecordedFloor {
    std::string take;
    Channel channel = Channel::left;
    std::map<std::string, RecordedLevel> figures;  ///< "unweighted", "a_weighted", "itu468", "itu468_quasi_peak"
    std::vector<RecordedBand> bands;               ///< third-octaves; empty where the record has none
};
struct RecordedStep {
    std::optional<double> volume;
    std::optional<Reading> dbfs, volts, thd_percent;
    bool overload = false;
};
struct RecordedCurve {
    std::string take;
    Channel channel = Channel::left;
    double tone_hz = 0;
    std::vector<RecordedStep> steps;
    std::optional<double> ceiling_volume;
    std::string ceiling_reason;  ///< why there is no ceiling; empty where there is one
    std::optional<Reading> knee_dbfs, knee_v;
};
struct RecordedBalance {
    std::string take;
    double tone_hz = 0;
    Channel first = Channel::left, second = Channel::right;
    std::optional<double> balance_db;
};
struct RecordedAmplifier {
    std::string name;
    std::optional<Reading> sensitivity_v, gain_now_db;
};
/// One channel of one take of the path: "delay_ms" "gain_db" "balance_db" "thd_percent" "crosstalk_db" "crosstalk_10khz_db".
struct RecordedPath {
    std::string take, polarity;
    Channel channel = Channel::left;
    std::map<std::string, Reading> figures;
    RecordedLevel level;
    struct Point {
        double frequency_hz = 0;
        Reading magnitude_db;
    };
    std::vector<Point> response;
};
struct RecordedRipple {
    std::string take;
    Reading volts;
};

struct RecordedSystem {
    std::string called;   ///< how messages name it: the path that was given
    std::string version;  ///< of the program that measured it
    std::string title;
    std::optional<Job> job;  ///< as it stood; unset: the record is older than that field
    bool has_noise = false, has_gain = false, has_chain = false, has_power = false;
    std::vector<RecordedSource> sources;
    std::vector<RecordedFloor> floors;
    std::vector<RecordedCurve> curves;
    std::optional<double> limit_thd_percent;
    std::vector<RecordedBalance> balances;
    std::vector<RecordedAmplifier> amplifiers;
    std::vector<RecordedPath> paths;
    std::map<std::string, std::string> health;  ///< fault to why
    std::map<std::string, double> engine_rpm;   ///< of a take, as read from the sound or a log
    std::map<std::string, double> whine_hz;     ///< of a take
    std::map<std::string, double> power;        ///< "total_a" "fuse_a" "drop_v" "reserve_a" "idle_reserve_a"
    std::vector<RecordedRipple> ripple;

    const Take* take(std::string_view file) const;
};

/// Reads a record's data: the text of a hushtrace.report/1 document. What a version did not write yet is empty here.
///   called   how messages name it
///   throws   Error invalid_input, naming the text and the field: not JSON, nested too deep (64 levels), another schema, a
///            wrong type, a figure that can't be (a level beyond 1000 dB, a negative spread)
RecordedSystem read_recorded(std::string_view text, std::string_view called);

}  // namespace hushtrace
