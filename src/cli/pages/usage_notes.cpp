#include "usage_notes.hpp"

#include <map>
#include <stdexcept>

namespace hushtrace::cli {
namespace {

const std::map<std::string, UsageNotes> kNotes{
    {"devices",
     {"The names or numbers that it prints are what --device of the other commands takes.",
      {{"What is there to capture with:", "hushtrace devices"}},
      {"capturing.md", "troubleshooting.md"}}},
    {"tones",
     {"The files go on a stick, a disc or a phone, so that the source plays them by itself: no lead from the laptop is in the source then, and no "
      "ground loop comes in with it. Each file has markers at its ends, by which the analysis finds it in a capture. A tone at full scale belongs "
      "to a source with no speaker behind it.",
      {{"A full-scale tone that finds where the source clips:", "hushtrace tones sine --frequency 997 --level 0 --duration 30 --out tone_997.wav"},
       {"Twenty seconds of near-silence, to hear the noise behind:", "hushtrace tones near_silence --duration 20 --out near_silence.wav"}},
      {"takes.md", "gain.md", "chain.md"}}},
    {"job",
     {"A job is a folder: job.json, the takes, the records. Without options that change anything, the job is shown. What is typed here is checked "
      "against the rest of the job before it is written; unknown figures may stay away.",
      {{"A new job:", "hushtrace job --job estate --new --title \"Estate, whine\" --cylinders 4 --mains-hz 50"},
       {"A sound file from elsewhere becomes a take:", "hushtrace job --job estate --add idle.wav --engine idle --volume 20"},
       {"A meter's reading:", "hushtrace job --job estate --observe ground_drop=0.08V --engine idle"}},
      {"job-folder.md", "installer.md"}}},
    {"calibrate",
     {"One reading of a meter, on the lead while a steady tone plays, turns the takes' full scale into volts. The calibration is void once an input "
      "knob moves. A take with the inputs shorted tells the noise of the set-up itself.",
      {{"The meter read 0.1092 V:", "hushtrace calibrate --job estate --take takes/calibration.flac --volts 0.1092 --meter-accuracy 1.0%+3"},
       {"The set-up's own noise:", "hushtrace calibrate --job estate --floor takes/floor.flac"}},
      {"method.md", "installer.md"}}},
    {"capture",
     {"Exactly one of --device, --simulate and --from says where the sound comes from. The conditions (engine, volume, hookup and so on) are what "
      "the analysis reasons from: state them as they are. Before the first lead goes on, two meter readings are asked for; more than 0.2 V in "
      "either means that the ground is mended first and nothing is connected. Bridged outputs and factory speaker outputs may not touch ground or "
      "a grounded input.",
      {{"Ten seconds at idle from the first interface:",
        "hushtrace capture --job estate --device default --engine idle --volume 20 --laptop battery"},
       {"The same without a vehicle:", "hushtrace capture --job estate --simulate three_faults --meter --engine idle --volume 20"}},
      {"capturing.md", "hookups.md", "takes.md"}}},
    {"noise",
     {"Needs takes with and without the engine, best at one volume with near-silence playing. Says each noise source with its level, how sure it is, "
      "where it probably gets in, which test would tell most, and what to do.",
      {{"The noise of a job:", "hushtrace noise --job estate"},
       {"Each noise source as a sound file:", "hushtrace noise --job estate --hear estate-sounds"},
       {"For another program:", "hushtrace noise --job estate --json"}},
      {"noise.md", "noise-kinds.md", "entry-paths.md", "noise-floor.md"}}},
    {"gain",
     {"Needs a take in which the source's volume was turned up step by step under a full-scale tone. With --live it is captured now, hand on the "
      "knob. Speakers off: a full-power tone burns tweeters and harms hearing.",
      {{"From a stepped take:", "hushtrace gain --job estate"},
       {"Hand on the knob:", "hushtrace gain --job estate --live --device default --tone sine --level 0 --via stick --volume-start 20"}},
      {"gain.md", "amplifier-gain.md", "live.md"}}},
    {"chain",
     {"Needs takes of a sweep, a polarity pulse or single-channel tones, as docs/chain.md tells.",
      {{"What the path does:", "hushtrace chain --job estate"}},
      {"chain.md"}}},
    {"power",
     {"With a job it reads the supply from there; without one from its options. Battery negative off first, on last; every added wire fused.",
      {{"A supply on the bench:", "hushtrace power --amplifier sub,max_current_a=50 --supply length_m=5.5,area_mm2=21.2,conductor=copper"}},
      {"power.md", "supply-probe.md"}}},
    {"report",
     {"The page holds everything that was found and how, with its pictures, in one file for any browser.",
      {{"The record of a job:", "hushtrace report --job estate --out estate/records/record.html"},
       {"A line for each of many jobs:", "hushtrace report --index jobs"}},
      {"report.md", "comparing.md", "data.md", "many-jobs.md"}}},
    {"live",
     {"Follows a noise source while hands move cables: the level now, against the one at the start. With the engine running keep loose leads and "
      "sleeves clear of belts and fans, outdoors or with exhaust extraction.",
      {{"Follow the whine:", "hushtrace live --job estate --device default --follow whine --engine idle"},
       {"On a phone on the dash, too:", "hushtrace live --job estate --device default --engine idle --share"}},
      {"live.md"}}},
    {"demo",
     {"Makes a folder with a job, its takes and its record, and prints what a user would type.",
      {{"Try it:", "hushtrace demo --out out-demo"}},
      {"simulated-vehicle.md"}}},
};

}  // namespace

const UsageNotes& notes_on(const std::string& command) {
    const auto found = kNotes.find(command);
    if (found == kNotes.end()) throw std::runtime_error("no notes for the manual page of '" + command + "' in usage_notes.cpp");
    return found->second;
}

}  // namespace hushtrace::cli
