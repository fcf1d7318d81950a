#pragma once
#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "hushtrace/diagnose/gain_analysis.hpp"
#include "hushtrace/signal/error.hpp"
#include "measure/stepped_source.hpp"

/// Jobs whose takes lie in memory, for the tests of the gain analysis.
namespace stepped_job {

struct JobInMemory {
    hushtrace::OpenedJob opened;
    std::map<std::string, std::pair<hushtrace::Block, double>> sound;

    hushtrace::Take& add(const std::string& file, const stepped_source::Source& source,
                         const std::vector<double>& volumes, double tone_dbfs = 0.0) {
        hushtrace::Take take;
        take.file = file;
        take.channels = {hushtrace::Channel::left, hushtrace::Channel::right};
        take.channels.resize(source.channels.size());
        take.tone = hushtrace::PlayedTone{hushtrace::Sine{source.tone_hz, tone_dbfs}, std::nullopt};
        take.volume_steps = volumes;
        sound[file] = {stepped_source::render(source), source.rate};
        opened.job.takes.push_back(take);
        return opened.job.takes.back();
    }

    hushtrace::GainAnalysis analyse() const {
        return hushtrace::analyse_gain(opened, [this](const hushtrace::Take& take) {
            const auto found = sound.find(take.file);
            if (found == sound.end())
                throw hushtrace::Error(hushtrace::ErrorKind::file_unreadable, take.file + ": no such file");
            return std::make_unique<hushtrace::MemoryReader>(found->second.first, found->second.second);
        });
    }
};

/// `count` volumes, one apart.
inline std::vector<double> volumes_from(double first, std::size_t count) {
    std::vector<double> volumes;
    for (std::size_t i = 0; i < count; ++i) volumes.push_back(first + static_cast<double>(i));
    return volumes;
}

/// Steps of 2 dB from -12.2 dBFS at volume 20, sample value 1.0 is 8 V: clean to volume 23 at 2.7706 V (left), clipping above. An amplifier
/// of 100 W into 4 ohm.
inline JobInMemory job_with_amplifier(double tone_dbfs = 0.0) {
    stepped_source::Source source;
    source.stops = stepped_source::staircase(-12.2, 2.0, 5);
    JobInMemory job;
    job.add("a.flac", source, volumes_from(20, 5), tone_dbfs);
    job.opened.job.interface.volts_full_scale = {8.0, 8.0};
    hushtrace::AmplifierData amplifier;
    amplifier.name = "front";
    amplifier.power_w = 100;
    amplifier.load_ohm = 4;
    amplifier.sensitivity_v = {0.2, 6.0};
    job.opened.job.amplifiers = {amplifier};
    return job;
}

/// Whether one of the sentences holds these words.
inline bool says(const std::vector<std::string>& sentences, const std::string& words) {
    for (const std::string& one : sentences)
        if (one.find(words) != std::string::npos) return true;
    return false;
}

inline bool warned(const hushtrace::GainAnalysis& analysis, const std::string& code) {
    for (const auto& one : analysis.warnings)
        if (one.code == code) return true;
    return false;
}

}  // namespace stepped_job
