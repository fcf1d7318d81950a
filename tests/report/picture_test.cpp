#include "hushtrace/report/picture.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <random>

#include "hushtrace/report/axis.hpp"
#include "hushtrace/report/labels.hpp"
#include "hushtrace/signal/decibel.hpp"
#include "report/sample.hpp"

using namespace hushtrace;

namespace {

std::vector<std::string> labels_of(const std::vector<Tick>& ticks) {
    std::vector<std::string> labels;
    for (const Tick& one : ticks) labels.push_back(one.label);
    return labels;
}
std::size_t count_of(const std::string& text, const std::string& part) {
    std::size_t count = 0;
    for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) ++count;
    return count;
}

}  // namespace

TEST_CASE("a frequency axis is written 20, 50, 100 and on", "[axis]") {
    CHECK(labels_of(frequency_ticks(20, 20000)) ==
          std::vector<std::string>{"20", "50", "100", "200", "500", "1k", "2k", "5k", "10k", "20k"});
}

TEST_CASE("a level axis is written in round steps, never more than asked for", "[axis]") {
    CHECK(labels_of(even_ticks(-120, -40, 9)) ==
          std::vector<std::string>{"-120", "-110", "-100", "-90", "-80", "-70", "-60", "-50", "-40"});
    CHECK(labels_of(even_ticks(-120, -40, 8)) ==
          std::vector<std::string>{"-120", "-100", "-80", "-60", "-40"});
    CHECK(labels_of(even_ticks(0, 0.3, 4)) == std::vector<std::string>{"0", "0.1", "0.2", "0.3"});
    CHECK(labels_of(decade_ticks(0.01, 100)) == std::vector<std::string>{"0.01", "0.1", "1", "10", "100"});
    for (std::size_t most = 2; most < 15; ++most) CHECK(even_ticks(-133.7, 12.9, most).size() <= most);
}

TEST_CASE("equal ratios take equal room on a logarithmic scale, and nothing leaves it", "[axis]") {
    const Scale scale{20, 20000, 100, 400, true};
    CHECK(scale.at(20) == Approx(100));
    CHECK(scale.at(200) == Approx(200));
    CHECK(scale.at(2000) == Approx(300));
    CHECK(scale.at(5) == Approx(100));
    CHECK(scale.at(96000) == Approx(400));
    const Scale upwards{-100, 0, 300, 0, false};
    CHECK(upwards.at(-25) == Approx(75));
}

TEST_CASE("labels never cover each other, leave the picture, or are crossed by a line", "[labels]") {
    std::mt19937 random(11);  // the seed of the cases
    std::uniform_real_distribution<double> anchor(0, 900), width(20, 220);
    std::size_t placed_in_all = 0;
    for (int round = 0; round < 400; ++round) {
        std::vector<LabelRequest> requests;
        for (int i = 0; i < 5 + round / 2; ++i) requests.push_back({anchor(random), width(random)});
        const auto places = (round % 2 == 0 ? place_labels : stair_labels)(requests, 0, 900, 5, 3);
        placed_in_all += places.size();
        for (const LabelPlace& one : places) {
            const LabelRequest& wish = requests[one.request];
            REQUIRE(one.left_px >= 0);
            REQUIRE(one.right_px <= 900);
            REQUIRE(one.right_px - one.left_px == Approx(wish.width_px));
            REQUIRE((one.reads_right ? one.left_px : one.right_px) == wish.anchor_px);
            for (const LabelPlace& other : places) {
                if (other.request == one.request) continue;
                if (other.row == one.row) {
                    const bool apart = one.right_px + 3 <= other.left_px || other.right_px + 3 <= one.left_px;
                    REQUIRE(apart);
                }
                if (other.row > one.row) {  // its line comes down through this row
                    const double line = requests[other.request].anchor_px;
                    const bool beside = line + 3 <= one.left_px || line >= one.right_px + 3;
                    REQUIRE(beside);
                }
            }
        }
    }
    CHECK(placed_in_all > 400 * 8);  // it does place
}

TEST_CASE("the first requests are placed first", "[labels]") {
    const auto places = place_labels({{450, 800}, {10, 300}, {100, 300}}, 0, 900, 1, 3);
    REQUIRE(places.size() == 1);  // the first fits nowhere, the second takes the row that the third wanted
    CHECK(places[0].request == 1);
}

TEST_CASE("stairs place labels whose lines stand closer than they are wide", "[labels]") {
    const std::vector<LabelRequest> close = {{300, 65}, {330, 65}, {360, 65}, {390, 65}};
    CHECK(stair_labels(close, 0, 900, 4, 3).size() == 4);
    CHECK(place_labels(close, 0, 900, 4, 3).size() < 4);
}

TEST_CASE("a strip shows its strongest bin, where that stands", "[spectrum]") {
    TakePicture picture;
    picture.bin_hz = 1.0;
    picture.line_dbfs.assign(20001, -110.0F);
    picture.line_dbfs[5003] = -40.0F;
    picture.line_dbfs[30] = -std::numeric_limits<float>::infinity();
    const auto points = strongest_of_strips(picture, false, 20, 20000, 300);
    double at_peak = 0;
    for (const StripPoint& one : points) {
        CHECK(one.level_db >= -200.0);
        if (one.level_db > -41) at_peak = one.frequency_hz;
    }
    CHECK(at_peak == 5003.0);
    CHECK(points.size() <= 300);
    CHECK(points.size() > 150);  // below some 1 kHz strips are narrower than bins
}

TEST_CASE("a calibrated picture reads in dBV: 7 V full scale puts 0 dBFS at 13.89 dBV", "[spectrum]") {
    TakePicture picture;
    picture.bin_hz = 100.0;
    picture.line_dbfs.assign(201, -100.0F);
    picture.volts_full_scale = 7.0;
    // 20 log10(7 / sqrt 2) = 13.8917
    CHECK(strongest_of_strips(picture, true, 20, 20000, 50).front().level_db ==
          Approx(-86.1083).margin(0.001));
    CHECK(strongest_of_strips(picture, false, 20, 20000, 50).front().level_db == Approx(-100.0));
}

TEST_CASE("an overlay of a calibrated and an uncalibrated take reads in dBFS", "[spectrum]") {
    const NoiseAnalysis analysis = sample::noise();
    const TakePicture running = sample::picture("takes/idle.flac", Channel::left, true);
    TakePicture still = sample::picture("takes/off.flac", Channel::left, false);
    CHECK(spectrum_svg(analysis, running, &still, PictureSize::wide, "a", "t").find(">dBV<") !=
          std::string::npos);
    still.volts_full_scale.reset();
    const std::string svg = spectrum_svg(analysis, running, &still, PictureSize::wide, "a", "t");
    CHECK(svg.find(">dBV<") == std::string::npos);
    CHECK(svg.find(">dBFS<") != std::string::npos);
}

TEST_CASE("findings are numbered in the spectrum as in the list, and their words escaped", "[spectrum]") {
    NoiseAnalysis analysis = sample::noise();
    TakePicture picture = sample::picture("takes/idle.flac", Channel::left, true);
    picture.lines[0].label = "hum <i>&";
    picture.lines[0].source_id = "of no finding";
    const std::string svg = spectrum_svg(analysis, picture, nullptr, PictureSize::wide, "a", "Take \"one\"");
    CHECK(svg.find("1 alternator whine, 1.231 kHz") != std::string::npos);
    CHECK(svg.find(">hum &lt;i&gt;&amp;, 50.00 Hz<") != std::string::npos);
    CHECK(svg.find("<title id=\"a-t\">Take &quot;one&quot;</title>") != std::string::npos);
    CHECK(svg.find("role=\"img\"") != std::string::npos);
    CHECK(count_of(svg, "class=\"mark") == picture.lines.size());
}

TEST_CASE("there is no picture of silence, of nothing, or of a single bin", "[pictures]") {
    TakePicture picture;
    CHECK_FALSE(has_spectrum(picture));
    CHECK_FALSE(has_spectrogram(picture));
    picture.bin_hz = picture.spectrogram_bin_hz = 10.0, picture.column_s = 0.1;
    picture.line_dbfs.assign(100, -std::numeric_limits<float>::infinity());
    picture.spectrogram_dbfs.assign(10, picture.line_dbfs);
    CHECK_FALSE(has_spectrum(picture));
    CHECK_FALSE(has_spectrogram(picture));
    picture.line_dbfs.assign(100, -196.99F);  // silence as a spectrum that is held at 1e-20 shows it
    picture.spectrogram_dbfs.assign(10, picture.line_dbfs);
    CHECK_FALSE(has_spectrum(picture));
    CHECK_FALSE(has_spectrogram(picture));
    picture.line_dbfs[50] = -90.0F;
    picture.spectrogram_dbfs[3][50] = -90.0F;
    CHECK(has_spectrum(picture));
    CHECK(has_spectrogram(picture));
    CHECK_FALSE(has_distortion(GainAnalysis{}));
    CHECK(has_distortion(sample::gain()));
}

TEST_CASE("distortion is drawn against volume where it is known, else against steps", "[distortion]") {
    GainAnalysis analysis = sample::gain();
    CHECK(distortion_svg(analysis, PictureSize::wide, "a", "t").find("ceiling: volume 31") !=
          std::string::npos);
    analysis.curves[0].steps[0].volume.reset();
    const std::string svg = distortion_svg(analysis, PictureSize::wide, "a", "t");
    CHECK(svg.find("ceiling: step 4") != std::string::npos);
    CHECK(svg.find(">step<") != std::string::npos);
    analysis.curves[0].steps[1].thd_percent = std::numeric_limits<double>::quiet_NaN();
    analysis.curves[0].steps[2].thd_percent = 0;
    CHECK(distortion_svg(analysis, PictureSize::narrow, "a", "t").find("nan") == std::string::npos);
}
