#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/job/job.hpp"

/// job.json as text, and back: pure functions without a disk, so that they can be tried with any input.
namespace hushtrace {

/// Reads a job. Checks every field's type, range and spelling, and every path's form; whether files exist is
/// not asked.
///
///   text      at most 16 MiB of JSON (RFC 8259) in UTF-8; a field named twice in one object is refused
///   warnings  gains one for each field that isn't known (at most 50, then one that counts the rest), and for
///   what had
///             to be assumed: a take without an engine (off), a tone without a level (0 dBFS)
///   label     how messages call the text
///   throws    Error invalid_input: "job.json: takes[2].engine: 'idel' is none of off, accessory, ..."
Job parse_job(std::string_view text, std::vector<Warning>& warnings, std::string_view label = "job.json");

/// A job as it is written anew: what is unknown is left out.
///   throws Error invalid_request for a NaN or an infinity, or text that isn't UTF-8, naming the field
std::string job_text(const Job& job);

/// `original` with what differs between the job in it and `changed`. All else stays as it was: fields that
/// are not known, the order of the fields, nulls. In lists of objects an entry keeps what it held: takes are
/// known by their file, amplifiers and branches by their name, others by their content, or else by their
/// place.
///   throws as parse_job (of `original`) and job_text
std::string patched_job_text(std::string_view original, const Job& changed);

/// Parts by themselves, as they stand in job.json, in one line.
std::string take_text(const Take& take);
std::string observation_text(const Observation& observation);
std::string tone_text(const PlayedTone& tone);
/// throws Error invalid_input: "tone: ..."
PlayedTone parse_tone(std::string_view text);

}  // namespace hushtrace
