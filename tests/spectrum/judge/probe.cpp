// Reads raw doubles (interleaved pairs x y) from a file, writes this layer's spectra of them as raw doubles,
// for SciPy to judge: Welch density of x (Hann, 50 %), of x (Blackman-Harris, 66 %), cross spectrum real and
// imaginary.
#include <cstdio>
#include <fstream>
#include <vector>

#include "hushtrace/spectrum/averaged_spectrum.hpp"

using namespace hushtrace;

int main(int argc, char** argv) {
    if (argc != 3) return 2;
    std::ifstream in(argv[1], std::ios::binary);
    std::vector<double> x, y;
    double pair[2];
    while (in.read(reinterpret_cast<char*>(pair), sizeof pair)) {
        x.push_back(pair[0]);
        y.push_back(pair[1]);
    }
    SpectrumAccumulator hann(44100, 3000, WindowKind::hann, 0.5);
    SpectrumAccumulator flat(44100, 2048, WindowKind::blackman_harris, 0.66);
    CrossAccumulator cross(44100, 1500, WindowKind::hann, 0.5);
    hann.add(x);
    flat.add(x);
    cross.add(x, y);
    std::ofstream out(argv[2], std::ios::binary);
    const auto put = [&out](double value) { out.write(reinterpret_cast<const char*>(&value), sizeof value); };
    for (const double d : hann.result().density) put(d);
    for (const double d : flat.result().density) put(d);
    for (const auto& c : cross.result().xy) {
        put(c.real());
        put(c.imag());
    }
    return out ? 0 : 1;
}
