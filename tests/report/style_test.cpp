#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <sstream>
#include <unistd.h>

#include "hushtrace/report/page.hpp"
#include "report/sample.hpp"

using namespace hushtrace;
namespace fs = std::filesystem;

namespace {

Analyses both() {
    Analyses analyses;
    analyses.noise = sample::noise();
    analyses.gain = sample::gain();
    return analyses;
}

/// The colours that a rule gives to its names: "--ink: #20262b;".
std::map<std::string, std::string> colours_after(const std::string& page, const std::string& rule) {
    std::map<std::string, std::string> out;
    const std::size_t from = page.find(rule), to = page.find('}', from);
    REQUIRE(from != std::string::npos);
    for (std::size_t at = page.find("--", from); at < to; at = page.find("--", at + 2)) {
        const std::size_t colon = page.find(':', at);
        out[page.substr(at + 2, colon - at - 2)] = page.substr(colon + 2, 7);
    }
    return out;
}

/// WCAG 2.1, relative luminance and contrast ratio.
double luminance(const std::string& colour) {
    REQUIRE(colour.size() == 7);
    std::array<double, 3> linear{};
    for (std::size_t i = 0; i < 3; ++i) {
        const double part = std::stoi(colour.substr(1 + 2 * i, 2), nullptr, 16) / 255.0;
        linear[i] = part <= 0.04045 ? part / 12.92 : std::pow((part + 0.055) / 1.055, 2.4);
    }
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2];
}
double contrast(const std::string& a, const std::string& b) {
    const double light = std::max(luminance(a), luminance(b)), dark = std::min(luminance(a), luminance(b));
    return (light + 0.05) / (dark + 0.05);
}

std::string content_of(const fs::path& file) {
    std::ifstream stream(file, std::ios::binary);
    std::ostringstream text;
    text << stream.rdbuf();
    return text.str();
}

}  // namespace

TEST_CASE("text stands out of its ground by 4.5 to 1, in light and in dark", "[style]") {
    CHECK(contrast("#000000", "#ffffff") == Approx(21.0));  // WCAG 2.1: the largest there is
    const std::string page = record_page(sample::job(), both(), "1");
    for (const std::string rule : {":root { color-scheme", "(prefers-color-scheme: dark) { :root {"}) {
        const auto colours = colours_after(page, rule);
        for (const std::string text : {"ink", "soft", "accent", "loud"})
            for (const std::string ground : {"paper", "card"}) {
                INFO(rule << ": " << text << " on " << ground);
                CHECK(contrast(colours.at(text), colours.at(ground)) >= 4.5);
            }
        CHECK(contrast(colours.at("ink"), colours.at("beyond")) >= 4.5);  // the distortion picture's shaded part
        CHECK(contrast(colours.at("ink"), colours.at("shade")) >= 4.5);   // words over a level's room
    }
}

TEST_CASE("pictures become files that stand alone, listed in the data; what an earlier record left goes", "[style]") {
    const fs::path folder = fs::temp_directory_path() / ("hushtrace-pictures-" + std::to_string(::getpid()));
    fs::create_directories(folder / "report-pictures");
    std::ofstream(folder / "report-pictures" / "97-of-an-earlier-record.svg") << "<svg/>";
    std::ofstream(folder / "report-pictures" / "the customer's own.svg") << "<svg/>";
    const RecordFiles files = write_record(sample::job(), both(), "1", folder / "report.html", true);
    const auto listed = nlohmann::json::parse(content_of(files.data))["results"]["pictures"];
    REQUIRE(listed.size() == files.pictures.size());
    REQUIRE(listed.size() >= 4);
    for (const auto& one : listed) {
        const std::string svg = content_of(folder / one["file"].get<std::string>());
        CHECK(svg.find("xmlns=\"http://www.w3.org/2000/svg\"") != std::string::npos);
        CHECK(svg.find("var(") == std::string::npos);
        CHECK(svg.rfind("</svg>") == svg.size() - 6);
        CHECK_FALSE(one["title"].get<std::string>().empty());
        CHECK_FALSE(one["description"].get<std::string>().empty());
        // what it uses it holds
        for (std::size_t at = svg.find("xlink:href=\"#"); at != std::string::npos; at = svg.find("xlink:href=\"#", at + 1)) {
            const std::size_t begin = at + 13;
            CHECK(svg.find("id=\"" + svg.substr(begin, svg.find('"', begin) - begin) + "\"") != std::string::npos);
        }
    }
    CHECK_FALSE(fs::exists(folder / "report-pictures" / "97-of-an-earlier-record.svg"));
    CHECK(fs::exists(folder / "report-pictures" / "the customer's own.svg"));
    const auto without = write_record(sample::job(), both(), "1", folder / "report.html");
    CHECK(nlohmann::json::parse(content_of(without.data))["results"]["pictures"][0]["file"].is_null());
    fs::remove_all(folder);
}
