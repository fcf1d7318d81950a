#pragma once
#include <list>

#include "confidence.hpp"
#include "noise_parts.hpp"

/// The job's noise sources as they grow take by take: each part found in a take joins the source it belongs
/// to.
namespace hushtrace {

/// A tone of one take that is a line of a comb in another, or a motor that drifted between them, is one source.
void join_over_takes(std::list<NoiseSource>& sources);
/// Of lone tones, says whether something louder sounds in the same take: then they are more often a part of that.
void weigh_tones(std::list<NoiseSource>& sources);

/// `off` is the take with the engine at rest to hold this one against, or null.
void add_whine(std::list<NoiseSource>& sources, const WhineInTake& whine, const TakeSurvey* off);
void add_clicks(std::list<NoiseSource>& sources, const ClicksInTake& clicks);
void add_comb(std::list<NoiseSource>& sources, const SteadyComb& comb, const TakeSurvey& survey);
/// Lines that move and are not the alternator's: a motor's when the engine rests; else said to move, and no
/// more. A path that strays about a line of one of the steady `combs` is none.
void add_moving(std::list<NoiseSource>& sources, const TakeSurvey& survey, const WhineInTake* whine,
                const ClicksInTake* clicks, const std::vector<SteadyComb>& combs);
/// Smooth noise, less the set-up's own where that is known. Clicks fill the spectrum between the lines: a
/// take in which they hold a fifth of its noise and more says nothing of hiss.
void add_hiss(std::list<NoiseSource>& sources, const TakeSurvey& survey, const ClicksInTake* clicks,
              const Job& job);
/// Whether a tone is so far below what drives the most sensitive of the job's amplifiers to full power that nobody will
/// hear it; evidence says so then.
bool quiet_enough(NoiseSource& source, const Job& job);
/// In a word, whether a source that does not follow the engine is there with it on, off, or both.
void say_where(NoiseSource& source, const std::list<TakeSurvey>& surveys);

}  // namespace hushtrace
