// The chain as JSON, as text and on the page.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <sstream>

#include "holds.hpp"
#include "hushtrace/report/document.hpp"
#include "hushtrace/report/page.hpp"
#include "hushtrace/report/picture.hpp"
#include "hushtrace/report/text.hpp"
#include "hushtrace/report/wording.hpp"
#include "report/sample.hpp"

using namespace hushtrace;
using Json = nlohmann::json;

namespace {

/// Gain falls by a first-order low-pass at 8 kHz; above 12 kHz noise covers it.
Transfer response(double gain) {
    Transfer out;
    for (const double hz : transfer_frequencies(23, 19000)) {
        TransferPoint point;
        point.frequency_hz = hz;
        point.gain = gain / std::complex<double>(1.0, hz / 8000);
        point.noise_power = hz > 12000 ? 1.0 : 1e-8;
        out.push_back(point);
    }
    return out;
}

ChainAnalysis chain() {
    ChainAnalysis made;
    made.channels.resize(2);
    ChainChannel &left = made.channels[0], &right = made.channels[1];
    left.take = right.take = "takes/sweep.flac";
    right.channel = Channel::right;
    left.polarity = "normal";
    right.polarity = "inverted";
    left.delay_ms = left.balance_db = Reading{};
    right.delay_ms = Reading{3.14159, 0.006, LimitedBy::nothing};
    left.gain_db = Reading{-0.2, 0.01, LimitedBy::nothing};
    right.gain_db = Reading{-6.2, 0.01, LimitedBy::nothing};
    left.gain_hz = right.gain_hz = right.balance_hz = 1000;
    left.level_dbfs = Reading{-20.2, 0.01, LimitedBy::nothing};
    left.level_dbv = Reading{-6.3, 0.1, LimitedBy::nothing};
    right.balance_db = Reading{-6.0, 0.02, LimitedBy::nothing};
    left.thd_percent = Reading{0.034, 0.004, LimitedBy::nothing};
    right.thd_percent = Reading{0.004, 0.002, LimitedBy::noise};
    left.thd_hz = right.thd_hz = 1000;
    right.crosstalk_db = Reading{-70, 1, LimitedBy::noise};
    left.response = response(1);
    right.response = response(0.5);
    made.placed = {{"takes/sweep.flac", "sweep", "sweep", {2.0, 1e-6, 120, 14}}};
    ChainIntermodulation im;
    im.take = "takes/two.flac";
    im.method = TwoToneMethod::modulation;
    im.reading.low.frequency_hz = 60;
    im.reading.low.level_dbfs = -12;
    im.reading.high.frequency_hz = 7000;
    im.reading.high.level_dbfs = -24;
    im.reading.total_ratio = {0.0031, 0.0001, LimitedBy::nothing};
    im.reading.second_order_ratio = {0.003, 0.0001, LimitedBy::nothing};
    im.reading.third_order_ratio = {0, 0.0001, LimitedBy::length};
    im.reading.products = {{-1, 1, 6940, {0.0015, 5e-5, LimitedBy::nothing}, -80.5, true}};
    im.volts_full_scale = 7.0;
    made.intermodulation = {im};
    made.takes = {"takes/sweep.flac", "takes/two.flac"};
    return made;
}

}  // namespace

TEST_CASE("the chain document has every figure with its uncertainty and what limits it", "[chain][document]") {
    const Json whole = Json::parse(chain_document(sample::job(), chain(), "9.8.7"));
    CHECK(whole["schema"] == "hushtrace.chain/1");
    const Json& results = whole["results"];
    REQUIRE(results["channels"].size() == 2);
    for (const Json& one : results["channels"])
        for (const std::string key : {"delay_ms", "delay_after_tone_ms", "gain_db", "level_dbfs", "level_dbv", "balance_db",
                                      "thd_percent", "crosstalk_db", "crosstalk_10khz_db"}) {
            INFO(key);
            REQUIRE(one.contains(key));
            CHECK(one.contains(key + "_sd"));
            REQUIRE(one.contains(key + "_limited_by"));
            CHECK(one[key].is_null() == one[key + "_limited_by"].is_null());
        }
    const Json &left = results["channels"][0], &right = results["channels"][1];
    CHECK(left["level_dbv"] == -6.3);
    CHECK(right["level_dbv"].is_null());
    CHECK(right["delay_ms_sd"] == 0.006);
    CHECK(right["crosstalk_db_limited_by"] == "noise");
    CHECK(left["response"].front().contains("group_delay_ms"));
    CHECK(left["response"].back()["limited_by"] == "noise");
    CHECK(results["takes"][0]["clock_ppm_limited_by"] == "length");
    const Json& im = results["intermodulation"][0];
    CHECK(im["method"] == "modulation");
    CHECK(im["against"] == "the high tone");
    CHECK(im["total_percent"] == 0.31);
    CHECK(im["third_order_percent_limited_by"] == "length");
    CHECK(im["high_level_dbv"].get<double>() == Approx(-24 + 20 * std::log10(7 / std::sqrt(2.0))).margin(0.001));
    CHECK(im["products"][0]["percent_sd"] == 0.005);
}

TEST_CASE("the chain's text keeps within 80 columns and says what limits a figure", "[chain][text]") {
    const std::string text = chain_text(sample::job(), chain());
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) {
        INFO(line);
        CHECK(display_width(line) <= 80);
    }
    CHECK(holds(text, "right: polarity inverted"));
    CHECK(holds(text, "later than the first channel by 3.14 ms ±0.01"));
    CHECK(holds(text, "THD 0.034 % ±0.008 % at 1.000 kHz"));
    CHECK(holds(text, "THD below 0.0080 % (noise) at 1.000 kHz"));
    CHECK(holds(text, "at 1 kHz: below -68.0 dB (noise)"));
    CHECK(holds(text, "there -6.3"));
    CHECK(holds(text, "(484 mV) ±0.2 dB"));
    CHECK(holds(text, "left: 60.00 Hz and 7.000 kHz, low tone on high tone: 0.31 % ±0.02 %"));
    CHECK(holds(text, "third order below 0.020 % (length)"));
    CHECK(holds(text, "15.00 kHz   in noise"));
}

TEST_CASE("the record has the chain where there is one, and only then", "[chain][page]") {
    Analyses analyses;
    analyses.gain = sample::gain();
    CHECK_FALSE(holds(record_page(sample::job(), analyses, "9.8.7"), "The path"));
    analyses.chain = chain();
    analyses.chain->warnings = {{"polarity_differs", "the polarity is turned on right and not on left", std::nullopt}};
    const std::string page = record_page(sample::job(), analyses, "9.8.7");
    for (const std::string part : {"<h2>The path</h2>", "inverted", "below -68.0 dB (noise)", "-6.3 dBV", "resp-w", "resp-n",
                                   "Intermodulation", "below 0.020 % (length)", "the polarity is turned"}) {
        INFO(part);
        CHECK(holds(page, part));
    }
    const Json whole = Json::parse(report_document(sample::job(), analyses, "9.8.7", "a.html", "a.json"));
    CHECK(whole["results"]["chain"]["channels"].size() == 2);
    analyses.chain.reset();
    CHECK(Json::parse(report_document(sample::job(), analyses, "9.8.7", "a.html", "a.json"))["results"]["chain"].is_null());
}

TEST_CASE("a response is drawn where it stands out of the noise", "[chain][picture]") {
    CHECK(has_response(chain()));
    const std::string svg = response_svg(chain(), PictureSize::wide, "id", "Response");
    CHECK(holds(svg, "left, takes/sweep.flac"));
    CHECK(holds(svg, "right, takes/sweep.flac"));
    CHECK_FALSE(holds(svg, "nan"));
    CHECK_FALSE(holds(svg, "inf"));
    ChainAnalysis buried = chain();
    for (ChainChannel& one : buried.channels)
        for (TransferPoint& point : one.response) point.noise_power = 1.0;
    CHECK_FALSE(has_response(buried));
    CHECK_FALSE(has_response(ChainAnalysis{}));
}

TEST_CASE("a hostile take's name can't become markup in the chain's part", "[chain][page]") {
    Analyses analyses;
    analyses.chain = chain();
    for (ChainChannel& one : analyses.chain->channels) one.take = one.polarity = "<script>\x01\xFF";
    analyses.chain->intermodulation[0].take = "<script>";
    const std::string page = record_page(sample::job(), analyses, "9.8.7");
    CHECK_FALSE(holds(page, "<script"));
    CHECK_FALSE(holds(page, "\xFF"));
}
