#pragma once
#include <string>

/// A job that has every field of schema hushtrace.job/1, and nothing else.
inline std::string whole_job_text() {
    return R"({ "schema": "hushtrace.job/1", "title": "van", "date": "2026-01-31", "complaint": "whines",
  "vehicle": { "description": "panel van", "drive": "diesel", "supply_v": 12, "cylinders": 4, "strokes": 4,
               "mains_hz": 50, "alternator": { "pole_pairs": 6, "pulley_ratio": 2.7, "rated_a": 120 } },
  "source": { "description": "double DIN", "preout_v": 4.0, "volume_top": 40, "factory": false, "output": "line" },
  "amplifiers": [ { "name": "sub", "power_w": 500, "load_ohm": 2, "sensitivity_v": [0.2, 6.0],
                    "max_current_a": 50, "bridged_output": true, "input": "line" } ],
  "speakers": [ { "amplifier": "sub", "power_w": 600, "sensitivity_db_2v83_1m": 86, "distance_m": 1.5 } ],
  "cables": { "signal_m": 5, "separation_m": 0.02, "parallel_m": 4.0, "crossing_deg": null, "above_metal_m": 0.01 },
  "supply": { "length_m": 5.5, "area_mm2": 21.2, "conductor": "copper", "temperature_c": 60, "allowed_drop_v": 0.5,
              "branches": [ { "name": "sub", "length_m": 0.5, "area_mm2": 10, "current_a": 20 } ] },
  "interface": { "volts_full_scale": [7.0, null], "own_noise_dbv": [-104, -104], "own_noise_a_dbv": [-106, null],
                 "own_noise_itu468_quasi_peak_dbv": [-92.5], "input": "grounded",
                 "amps_per_volt": null },
  "limits": { "ceiling_thd_percent": 1.0 },
  "takes": [
    { "file": "takes/idle.flac", "channels": ["left", "right"], "point": "amp_output", "engine": "idle",
      "rpm": 760, "rpm_log": "takes/idle.csv", "source": "on", "input": "usb", "volume": 12, "amplifier": "on",
      "hookup": ["isolator", "antenna_unplugged"], "loads": ["headlights"],
      "attached": [ { "device": "phone", "powered_from": "vehicle" } ],
      "laptop": "battery", "attenuation_db": [0, 10], "tone": null, "marks": [ { "time_s": 4.2, "text": "bump" } ],
      "recorded_at": "2026-01-31T10:12:00", "after_change": "strap moved", "faults": ["dropout"] },
    { "file": "takes/steps.flac", "channels": ["left", "right"], "engine": "off", "volume_steps": [20, 21, 22],
      "hookup": "normal",
      "tone": { "kind": "sine", "frequency_hz": 997, "level_dbfs": 0, "via": "stick" } } ],
  "observations": [
    { "what": "ground_drop", "value": 0.08, "unit": "V", "engine": "raised", "loads": ["headlights"] },
    { "what": "noise_heard", "value": "gone", "hookup": "shorted_at_amp", "engine": "idle" },
    { "what": "shell_to_case", "declined": true, "reason": "no meter at hand", "engine": "off" } ] })";
}
