#pragma once
#include <cstdio>
#include <istream>
#include <string>
#include <vector>

#include "hushtrace/job/job.hpp"

namespace hushtrace::cli {

/// Whether there is somebody to ask: stdin and stderr are a terminal.
bool may_ask();

/// Asks for what a job doesn't say yet, one short question at a time. An empty answer skips it, a wrong one is refused in a
/// sentence and asked again, the end of the input (Ctrl-D) ends the asking and keeps what was said.
///
///   job         what is known; for a new one all is asked
///   fresh       a new job: its title and its drive are asked too, and an empty title becomes `usual_title`
///   returns     what was answered, a text in job.json's schema for described_by(); "" when nothing was
std::string ask_for_description(const Job& job, bool fresh, const std::string& usual_title, std::istream& answers, std::FILE* asks);

}  // namespace hushtrace::cli
