#pragma once

/// What an ear in a vehicle can hear: the threshold of hearing, the noise of the cabin, and what that masks.
namespace hushtrace {

/// Threshold of hearing of young adults with both ears in a quiet free field [dB SPL], between 20 Hz and 16 kHz; beyond, held
/// at the ends. Straight lines over log frequency between the tabulated ones.
///   source  ISO 389-7:2005 and, below 125 Hz, ISO 226:2003 (tests/reference/hearing.csv)
double hearing_threshold_db_spl(double frequency_hz);

/// Spread of that threshold between people [dB]: from memory, after ISO 28961, some 5 dB and more above 8 kHz.
inline constexpr double kHearingSd_db = 5.0;

/// Equivalent rectangular bandwidth of the ear's filter: 24.7 (4.37 f / 1000 + 1) Hz, 100 Hz to 10 kHz.
///   source  Glasberg and Moore 1990, Hear. Res. 47, 103-138, equation 3
double erb_hz(double frequency_hz);

enum class Cabin { engine_off, idling, driving };

/// Typical noise of a cabin in a band of a third of an octave [dB SPL]: a straight line over log frequency. No usable survey
/// was found: the A-weighted levels of a parked car (25 to 35 dB with the engine off, 38 to 50 dB idling, mostly below 200 Hz,
/// the bands from 1 to 4 kHz near 15 to 25 dB) are common practice from memory, the 60 dB of town traffic and all slopes
/// are from memory. A single car is off by kCabinSd_db.
///   A-weighted level   30 dB with the engine off, 44 dB idling, 60 dB driving
double cabin_third_octave_db_spl(Cabin cabin, double frequency_hz);
inline constexpr double kCabinSd_db = 6.0;

/// The level from which a tone is heard in a cabin's noise [dB SPL]: the noise in the ear's filter round it plus the masking
/// index, and the threshold of hearing, added in power.
///   source  index -2 - lg(1 + (f / 502 Hz)^2.5) dB as DIN 45681 has it (formula from memory; audible from 2 dB, low, to 6 dB,
///           high, below the noise in its critical band). Its critical band is up to 2 dB wider than the ear's filter here
double audible_from_db_spl(Cabin cabin, double frequency_hz);

}  // namespace hushtrace
