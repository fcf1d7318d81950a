#pragma once
#include <list>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "../../src/diagnose/entry/entry_evidence.hpp"

/// A vehicle's takes with the levels of one noise source in them, for the tests of where noise gets in.
namespace hushtrace::entry_job {

inline Conditions idling(std::vector<Hookup> hookup = {Hookup::normal}, std::optional<double> rpm = 800.0) {
    Conditions out;
    out.engine = Engine::idle;
    out.rpm = rpm;
    out.hookup = std::move(hookup);
    return out;
}

struct EntryJob {
    std::list<Take> takes;
    std::list<TakeSurvey> surveys;
    NoiseSource source;

    explicit EntryJob(NoiseKind kind = NoiseKind::alternator_whine) {
        source.id = "source-1";
        source.kind = kind;
        source.frequency_hz = 1000;
    }
    EntryJob(const EntryJob&) = delete;
    /// A take in which the source reads `level_dbfs` on the left; where it isn't found there is hiss of -60 dBFS alone.
    TakeSurvey& add(const std::string& file, const Conditions& conditions, std::optional<double> level_dbfs,
                    std::vector<Channel> channels = {Channel::left}) {
        Take& take = takes.emplace_back();
        take.file = file;
        take.conditions = conditions;
        take.channels = channels;
        TakeSurvey& survey = surveys.emplace_back();
        survey.take = &take;
        for (const Channel channel : channels) {
            if (!carries_signal(channel)) continue;
            ChannelSurvey& one = survey.channels.emplace_back();
            one.channel = channel;
            one.hiss.all.unweighted.value = 0.5e-6;
        }
        if (level_dbfs) level(file, Channel::left, *level_dbfs);
        return survey;
    }
    void level(const std::string& file, Channel channel, double level_dbfs, double sd_db = 1.0) {
        LevelInTake one;
        one.take = file;
        one.channel = channel;
        one.level_dbfs = level_dbfs;
        one.sd_db = sd_db;
        source.levels.push_back(one);
        if (!source.level_dbfs || level_dbfs > *source.level_dbfs) source.level_dbfs = level_dbfs;
    }
    Take& take(const std::string& file) {
        for (Take& one : takes)
            if (one.file == file) return one;
        return takes.emplace_back();
    }
    /// The job as it stands in its folder.
    Job job() const {
        Job out;
        out.takes.assign(takes.begin(), takes.end());
        return out;
    }
};

inline const EntryOutcome* outcome_of(const EntryEvidence& evidence, EntryTest test) {
    for (const EntryOutcome& one : evidence.outcomes)
        if (one.test == test) return &one;
    return nullptr;
}

}  // namespace hushtrace::entry_job
