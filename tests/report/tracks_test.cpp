#include <catch2/catch.hpp>
#include <cmath>

#include "hushtrace/report/hear_page.hpp"
#include "hushtrace/report/page.hpp"
#include "hushtrace/report/picture.hpp"
#include "report/sample.hpp"

using namespace hushtrace;

namespace {

std::size_t count_of(const std::string& text, const std::string& part) {
    std::size_t count = 0;
    for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) ++count;
    return count;
}

/// Each element that is opened is closed, in order, and no bare & or < stands in text: enough of XML for an SVG.
bool is_well_formed(const std::string& text) {
    std::vector<std::string> open;
    for (std::size_t at = text.find('<'); at != std::string::npos; at = text.find('<', at + 1)) {
        const std::size_t end = text.find('>', at);
        if (end == std::string::npos || text.find('<', at + 1) < end) return false;
        const std::string tag = text.substr(at + 1, end - at - 1);
        if (tag.front() == '/') {
            if (open.empty() || open.back() != tag.substr(1)) return false;
            open.pop_back();
        } else if (tag.back() != '/') {
            open.push_back(tag.substr(0, tag.find(' ')));
        }
    }
    return open.empty();
}

TakePicture with_tracks() {
    TakePicture made;
    for (const TakePicture& one : sample::noise().pictures)
        if (!one.track.empty()) made = one;
    PictureTrack whine{"whine-1", "alternator whine", false, made.track, {1.0 / 6, 1.0, 2.0, 3.0}};
    PictureTrack ticks{"tick-1", "ignition <tick>", true, {}, {1.0}};
    for (const auto& point : made.track) ticks.points.emplace_back(point.first, 25.3);
    made.tracks = {whine, ticks};
    PictureOrders orders;
    orders.source_id = "whine-1";
    orders.label = "alternator whine";
    orders.reference_order = 97.2;
    orders.wander = 0.02;
    orders.map.row_ratio = 0.02;
    for (std::size_t i = 0; i < 200; ++i) {
        orders.map.time_s.push_back(0.1 * static_cast<double>(i));
        orders.map.frequency_hz.push_back(1231.2 * (1.0 + 0.2 * std::sin(0.05 * static_cast<double>(i))));
        auto& column = orders.map.level_dbfs.emplace_back(250, -110.0F);
        for (const std::size_t row : {50U, 100U, 150U}) column[row] = -60.0F;
    }
    made.orders = orders;
    return made;
}

}  // namespace

TEST_CASE("a spectrogram names the tracks that it draws, and tells them in words", "[tracks]") {
    const std::string svg = spectrogram_svg(with_tracks(), {}, PictureSize::wide, "sg1w", "sg1i", "Spectrogram <of> it");
    CHECK(is_well_formed(svg));
    CHECK(svg.find(">alternator whine</text>") != std::string::npos);
    CHECK(svg.find(">×2</text>") != std::string::npos);
    CHECK(svg.find(">×1/6</text>") != std::string::npos);
    CHECK(svg.find(">ignition &lt;tick&gt;, clicks a second</text>") != std::string::npos);
    const std::string words = svg.substr(svg.find("<desc"), svg.find("</desc>") - svg.find("<desc"));
    CHECK(words.find("alternator whine, dashed, with its lines ×1/6, ×2, ×3; ignition &lt;tick&gt;&#39;s rate, dotted") !=
          std::string::npos);
    CHECK(count_of(svg, "class=\"track dots\"") == 1);   // the clicks', told apart without colour
    CHECK(count_of(svg, "class=\"track faint\"") == 3);  // the whine's further lines
    CHECK(svg.find("nan") == std::string::npos);
}

TEST_CASE("a track that leaves the picture is cut at its edge, one of nothing is left out", "[tracks]") {
    TakePicture picture = with_tracks();
    picture.tracks = {{"a", "high", false, {{0.0, 30000.0}, {1.0, 40000.0}}, {1.0}},
                      {"b", "nothing", false, {}, {1.0}},
                      {"c", "none", false, {{0.0, std::nan("")}, {1.0, std::nan("")}}, {1.0}}};
    const std::string svg = spectrogram_svg(picture, {}, PictureSize::narrow, "s", "i", "t");
    CHECK(is_well_formed(svg));
    CHECK(count_of(svg, "class=\"track\"") == 0);
    CHECK(svg.find("nan") == std::string::npos);
}

TEST_CASE("an order map has its axis in turns where the order is known, and the lines that hold still drawn", "[tracks]") {
    TakePicture picture = with_tracks();
    REQUIRE(has_order_map(picture));
    for (const PictureSize size : {PictureSize::wide, PictureSize::narrow}) {
        const std::string svg = order_map_svg(picture, size, "om1w", "om1i", "Orders & more");
        CHECK(is_well_formed(svg));
        CHECK(svg.find("lines per crankshaft turn") != std::string::npos);
        CHECK(svg.find(">alternator whine</text>") != std::string::npos);
        CHECK(svg.find(">leading line, Hz</text>") != std::string::npos);
        CHECK(count_of(svg, "class=\"track dots\"") >= 1);  // the mains hum's lines
        CHECK(svg.find("What turns with the alternator whine stands on level lines") != std::string::npos);
        CHECK(svg.find("mains hum") != std::string::npos);
        CHECK(svg.find("nan") == std::string::npos);
    }
    picture.orders->reference_order.reset();
    CHECK(order_map_svg(picture, PictureSize::wide, "a", "b", "t").find("multiples of the leading line") != std::string::npos);
    CHECK(is_well_formed(order_map_image(picture, "i")));
    CHECK(order_map_image(picture, "i").size() < 120000);  // the page stays light
    picture.orders.reset();
    CHECK(!has_order_map(picture));
    picture.orders = PictureOrders{};
    CHECK(!has_order_map(picture));
}

TEST_CASE("the record's page shows the maps, and how loud a source is at the ear", "[tracks]") {
    Analyses analyses;
    analyses.noise = sample::noise();
    for (TakePicture& one : analyses.noise->pictures)
        if (!one.track.empty()) one = with_tracks();
    Loudness loudness;
    loudness.text = "audible parked, masked when driving: 31 dB SPL at the ear (±8)";
    analyses.noise->noise_sources.front().loudness = loudness;
    const std::string page = record_page(sample::job(), analyses, "1.2.3");
    CHECK(page.find("id=\"om1w-t\"") != std::string::npos);
    CHECK(page.find("How loud: audible parked, masked when driving") != std::string::npos);
    CHECK(page.find("<audio") == std::string::npos);
}

TEST_CASE("the playlist and the page of sounds hold one entry a listening file, foreign text made safe", "[hear]") {
    NoiseAnalysis analysis = sample::noise();
    const std::string name = "takes/a\n<b>&.wav";
    analysis.heard = {{"01-a-as-captured.flac", "take", "", name, false, 12.0, 0.0, 10.0},
                      {"exact/a-whine-1-alone.wav", "alone", "whine-1", name, true, 0.0, 0.0, 10.0},
                      {"02-a-whine-1-alone.flac", "alone", "whine-1", name, false, 48.25, 0.0, 9.2}};
    const std::string list = hear_playlist(analysis);
    CHECK(list.starts_with("#EXTM3U\n"));
    CHECK(count_of(list, "#EXTINF:") == 2);
    CHECK(list.find("\n02-a-whine-1-alone.flac\n") != std::string::npos);
    CHECK(list.find("takes/a <b>&.wav as captured") != std::string::npos);
    const std::string page = hear_page(sample::job(), analysis);
    CHECK(count_of(page, "<audio ") == 2);
    CHECK(page.find("<b>&.wav") == std::string::npos);
    CHECK(page.find("raised by 48.2 dB") != std::string::npos);
    CHECK(page.find("volume at its lowest") != std::string::npos);
    CHECK(page.find("<script") == std::string::npos);
    Analyses analyses;
    analyses.noise = sample::noise();
    analyses.noise = analysis;
    CHECK(record_page(sample::job(), analyses, "1").find("<audio") == std::string::npos);
    analyses.heard_folder = "a b/";
    CHECK(record_page(sample::job(), analyses, "1").find("src=\"a%20b/02-a-whine-1-alone.flac\"") != std::string::npos);
    analysis.heard_folder = "/x/records/hear";
    CHECK(heard_below(analysis, "/x/records") == "hear/");
    CHECK(heard_below(analysis, "/x/records/deep") == "");
    CHECK(heard_below(analysis, "/y") == "");
}
