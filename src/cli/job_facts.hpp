#pragma once
#include <CLI/CLI.hpp>
#include <optional>
#include <string>
#include <vector>

#include "hushtrace/job/job.hpp"

namespace hushtrace::cli {

/// The options that describe a job: vehicle, source, amplifiers, cables. They are put together to a text in
/// job.json's own schema, so the same checks hold for them.
struct JobFacts {
    std::optional<std::string> from;  ///< a file in the schema of job.json, whose description is taken over
    std::optional<std::string> title, date, complaint;
    std::optional<std::string> vehicle, drive, cylinders, strokes, supply_v, mains_hz, alternator;
    std::optional<std::string> source_description, preout_v, volume_top, source_factory, source_output;
    std::vector<std::string> amplifiers, speakers;  ///< "sub,power_w=500,load_ohm=2,sensitivity_v=0.2:6"
    std::vector<std::string> converters;            ///< "sub,loss_db=12,max_input_v=20": in the lead to that amplifier
    std::vector<std::string> branches;              ///< "sub,length_m=0.5,area_mm2=10,current_a=20": behind the distribution block
    std::optional<std::string> cables, supply, interface_input, amps_per_volt, limit_thd, limits, labour;

    /// All but --amplifier, which means the amplifier's state where a take is described.
    void add_to(CLI::App& app);
    /// Those alone that say something of the supply.
    void add_supply_to(CLI::App& app);
    /// Whether any was given.
    bool any() const;
    /// The job with what was given; amplifiers, speakers and branches are added to those it has, and one of
    /// the same name gets what was given.
    ///   throws Error invalid_request, naming option and field; for --from as parse_job, naming the file
    Job described(const Job& job, std::vector<Warning>& warnings) const;

private:
    void add_supply_and_branches(CLI::App& app);
};

/// The job with a description in job.json's schema (`schema` among it) merged into it: nulls take out, amplifiers, speakers and
/// branches go by their names. `label` is how messages call it.
///   throws Error invalid_input as parse_job; invalid_request for a field that isn't known
Job described_by(const Job& job, const std::string& given_text, const char* label, std::vector<Warning>& warnings);

}  // namespace hushtrace::cli
