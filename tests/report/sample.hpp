#pragma once
#include <cmath>
#include <string>

#include "hushtrace/diagnose/findings.hpp"
#include "hushtrace/job/job_folder.hpp"

/// Made-up results, of the shapes that the analysis hands over: nothing here was measured.
namespace sample {

hushtrace::OpenedJob job();
hushtrace::NoiseAnalysis noise();  ///< whine and hum, calibrated, engine off and idle, with pictures
hushtrace::GainAnalysis gain();    ///< two channels, ceiling at volume 31
hushtrace::TakePicture picture(const std::string& take, hushtrace::Channel channel, bool engine_runs);

/// The same without volts: no calibration anywhere.
hushtrace::NoiseAnalysis uncalibrated(hushtrace::NoiseAnalysis analysis);

}  // namespace sample
