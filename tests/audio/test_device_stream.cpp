#include <catch2/catch.hpp>

#include <cmath>
#include <numeric>
#include <vector>

#include "../../src/audio/device_stream.hpp"

using hushtrace::audio::DeviceStream;

namespace {

/// One call as PortAudio would make it.
void call(DeviceStream& stream, const std::vector<float>* in, std::vector<float>* out, unsigned long frames,
          PaStreamCallbackFlags flags = 0) {
    CHECK(DeviceStream::callback(in ? in->data() : nullptr, out ? out->data() : nullptr, frames, nullptr,
                                 flags, &stream) == paContinue);
}

}  // namespace

TEST_CASE("the callback spreads one channel over all outputs and hands inputs on unchanged", "[callback]") {
    for (const std::size_t outputs : {1u, 2u, 3u, 8u}) {
        DeviceStream stream(2, outputs, 48000, 0.1);
        std::vector<float> played(64), in(128), out(64 * outputs, 9.0f), taken(1000);
        std::iota(played.begin(), played.end(), 1.0f);
        std::iota(in.begin(), in.end(), 100.0f);
        stream.give(played);
        CHECK(stream.frames_to_play() == 64);
        call(stream, &in, &out, 64);
        for (std::size_t i = 0; i < 64; ++i)
            for (std::size_t c = 0; c < outputs; ++c) REQUIRE(out[i * outputs + c] == played[i]);
        REQUIRE(stream.take(taken) == 64);
        taken.resize(128);
        CHECK(taken == in);
        CHECK_FALSE(stream.take_input_overflow());
        CHECK_FALSE(stream.take_output_underflow());
    }
}

TEST_CASE("an output that runs dry plays silence and says so, once something was given", "[callback]") {
    DeviceStream stream(1, 2, 48000, 0.1);
    std::vector<float> out(20, 9.0f);
    call(stream, nullptr, &out, 10);
    CHECK(out == std::vector<float>(20, 0.0f));
    CHECK_FALSE(stream.take_output_underflow());  // nothing was to be played yet
    stream.give({1, 2, 3, 4});
    call(stream, nullptr, &out, 10);
    CHECK(out == std::vector<float>{1, 1, 2, 2, 3, 3, 4, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0});
    CHECK(stream.take_output_underflow());
    CHECK_FALSE(stream.take_output_underflow());  // told once
}

TEST_CASE("a ring that nobody empties drops whole buffers and says so", "[callback]") {
    DeviceStream stream(2, 0, 1000, 0.1);  // 200 samples, rounded up to 256
    std::vector<float> in(100), taken(1000);
    std::iota(in.begin(), in.end(), 0.0f);
    for (int i = 0; i < 3; ++i) call(stream, &in, nullptr, 50);
    CHECK(stream.take_input_overflow());
    CHECK(stream.take(taken) == 100);  // two whole buffers, no half frame
    CHECK(taken[100] == 0.0f);
    CHECK(taken[199] == 99.0f);
}

TEST_CASE("what PortAudio flags is passed on", "[callback]") {
    DeviceStream stream(1, 1, 48000, 0.1);
    std::vector<float> in(8), out(8);
    stream.give(std::vector<float>(64));
    call(stream, &in, &out, 8, paInputOverflow);
    CHECK(stream.take_input_overflow());
    call(stream, &in, &out, 8, paInputUnderflow);  // silence was put in: for a capture that is a loss
    CHECK(stream.take_input_overflow());
    call(stream, &in, &out, 8, paOutputUnderflow);
    CHECK(stream.take_output_underflow());
    call(stream, &in, &out, 8, paPrimingOutput);
    CHECK_FALSE(stream.take_input_overflow());
    CHECK_FALSE(stream.take_output_underflow());
}
