#pragma once
#include "hushtrace/diagnose/findings.hpp"

/// Made-up tests and transfers: nothing here was measured.
namespace sample {

/// So many tests (1 to 12) of one source: each rules out one way of twelve, the ground loop gains.
std::vector<hushtrace::TestMade> tests_made(const std::string& source_id, std::size_t count);
/// Points on a line of so many dB a decade through -60 dB at 1 kHz, 400 Hz to 6.4 kHz.
hushtrace::SupplyTransfer transfer(hushtrace::Channel against, double slope_db_per_decade);
/// A picture with lines of these levels at multiples of 400 Hz over a floor of -120 dBFS.
hushtrace::TakePicture comb(const std::string& take, const std::vector<double>& levels_dbfs);

}  // namespace sample
