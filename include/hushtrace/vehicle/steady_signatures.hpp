#pragma once
#include <array>
#include <string_view>

/// What is known of noise that does not follow the engine: rates, tolerances and shapes, each with its source.
namespace hushtrace {

/// Public mains. EN 50160 grants 1 % for 99.5 % of a year on linked networks; in practice their frequency strays by
/// 0.1 % (common practice, no source).
struct Mains {
    static constexpr std::array<double, 2> nominal_hz = {50.0, 60.0};
    static constexpr double tolerance = 0.01, usual_stray = 0.002;
    static constexpr int most_number = 40;   ///< EN 50160 counts harmonics up to the 40th
};

/// A phone's frames in time-division networks, 120/26 ms with 8 slots, one of which transmits.
///   source  3GPP TS 45.002, 4.3.2 (TDMA frame 4.615 ms, slot 0.577 ms)
struct PhoneFrames {
    static constexpr double rate_hz = 650.0 / 3.0;
    static constexpr double duty = 1.0 / 8.0;
    static constexpr double tolerance = 0.0002;   ///< the interface's clock; the phone's own is better by far
};

/// Frames of a serial bus and of short-range wireless.
///   source  Universal Serial Bus 2.0, 7.1.12: frames of 1 ms and microframes of 125 us, within 500 ppm. Wireless: slots
///           of 625 us in pairs, Bluetooth Core, vol. 2 part B, 2.2. The interface's own clock adds 100 ppm.
struct BusFrames {
    double rate_hz;
    std::string_view what;
    static constexpr double tolerance = 0.0006;
};
inline constexpr std::array<BusFrames, 4> kBusFrames = {{{1000.0, "frames of a serial bus (USB)"},
                                                          {8000.0, "microframes of a fast serial bus (USB)"},
                                                          {800.0, "slot pairs of short-range wireless"},
                                                          {1600.0, "slots of short-range wireless"}}};

/// Pulse-width switching: lamps, dimmers, fans, heaters, field regulators.
///   common practice, no source: lamps 80 to 200 Hz, dimmers 100 to 500, fans and pumps 66 Hz to 25 kHz, a field
///   regulator's 100 to 400 Hz
struct PulseWidth {
    static constexpr double least_hz = 60.0;
    static constexpr double regulator_low_hz = 100.0, regulator_high_hz = 400.0;
};
/// Level of a pulse train's n-th harmonic against its pulse [dB]: 20 lg |sin(pi n duty) / (pi n)|, from the Fourier series of
/// a square pulse; `tilt` powers of n on top: 1 where a coil couples it, -1 where the edges are slow.
double pulse_harmonic_db(int number, double duty, double tilt);

/// A brushed motor: bars times turns a second, with weak lines at the turns themselves, for bars are uneven.
///   common practice, no source: 8 bars at 4000 to 8000 rpm for fuel pumps
struct BrushedMotor {
    static constexpr double least_shaft_hz = 20.0, most_shaft_hz = 200.0;
    static constexpr int least_bars = 5, most_bars = 24;   ///< twice the bars where their number is odd
};

}  // namespace hushtrace
