#pragma once
#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>

#include "hushtrace/diagnose/chain_analysis.hpp"
#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/diagnose/floor_record.hpp"
#include "hushtrace/diagnose/power_analysis.hpp"

/// The `results` objects of the documents; used by this layer's sources alone.
namespace hushtrace {

nlohmann::ordered_json noise_results(const NoiseAnalysis& analysis);
nlohmann::ordered_json gain_results(const GainAnalysis& analysis);
/// Of the gain's results, the settings of the amplifiers.
nlohmann::ordered_json amplifiers_json(const std::vector<AmplifierSetting>& settings);
nlohmann::ordered_json chain_results(const ChainAnalysis& analysis);
nlohmann::ordered_json floor_record_results(const FloorRecord& record);
/// Of the noise's results, the floor of one channel of a take.
nlohmann::ordered_json floor_json(const FloorReading& one);
/// <key> and its sd and limit; null where it wasn't measured.
void put_level(nlohmann::ordered_json& to, const std::string& key, const std::optional<Reading>& level);
nlohmann::ordered_json power_results(const PowerAnalysis& analysis);

/// Every spectrum that the page could draw, the strongest bin of each 48th of an octave.
nlohmann::ordered_json spectra_json(const NoiseAnalysis& analysis);

inline bool is_known(std::optional<double> value) {
    return value && std::isfinite(*value);
}

/// Rounded to 0.01 [dB]; null where unset, infinite or no number.
nlohmann::ordered_json level_json(std::optional<double> level_db);
/// <name>_sd and <name>_limited_by beside a figure that is known; null where it isn't.
void put_limits(nlohmann::ordered_json& to, const std::string& name, std::optional<double> sd, LimitedBy limit, bool known);

nlohmann::ordered_json evidence_json(const std::vector<Evidence>& evidence);
/// Puts what is known of where noise gets in beside the other results.
void put_entry(nlohmann::ordered_json& results, const NoiseAnalysis& analysis);

/// Rounded to six significant figures; null where unset, infinite or no number.
nlohmann::ordered_json figure_json(std::optional<double> value);

}  // namespace hushtrace
