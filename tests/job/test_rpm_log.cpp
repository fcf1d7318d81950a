#include <algorithm>
#include <catch2/catch.hpp>
#include <fstream>
#include <string>

#include "hushtrace/job/rpm_log.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "temporary_folder.hpp"

using namespace hushtrace;

namespace {

struct Told {
    std::optional<RpmLog> log;
    std::vector<Warning> warnings;
    bool warned(const std::string& code) const {
        for (const Warning& one : warnings)
            if (one.code == code) return true;
        return false;
    }
    std::string text() const {
        std::string all;
        for (const Warning& one : warnings) all += one.code + ": " + one.text + "\n";
        return all;
    }
};
Told parse(const std::string& text, RpmLogHints hints = {}) {
    Told told;
    told.log = parse_rpm_log(text, "takes/idle.wav", hints, told.warnings);
    return told;
}

/// A log of 20 s in steps of 0.5 s, 750 + 10 t rpm, its two figures written by `row`.
template <typename Row>
std::string rows(Row row, int count = 41) {
    std::string text;
    for (int i = 0; i < count; ++i) text += row(0.5 * i, 750.0 + 5.0 * i);
    return text;
}
std::string figure(double value, int digits = 3, char mark = '.') {
    std::string text = std::to_string(value);
    text.resize(text.find('.') + 1 + static_cast<std::size_t>(digits));
    for (char& c : text)
        if (c == '.') c = mark;
    return text;
}
std::string clock_text(double s, double from = 0) {
    const double t = from + s;
    const int h = static_cast<int>(t / 3600) % 24, m = static_cast<int>(t / 60) % 60;
    const double rest = t - 60.0 * static_cast<int>(t / 60);
    std::string text = (h < 10 ? "0" : "") + std::to_string(h) + (m < 10 ? ":0" : ":") + std::to_string(m) +
                       (rest < 10 ? ":0" : ":") + figure(rest);
    return text;
}
std::string utf16(const std::string& text) {
    std::string out = "\xFF\xFE";
    for (const char c : text) out += std::string{c, '\0'};
    return out;
}
std::string comma_rows() {
    return rows([](double t, double n) { return figure(t) + "," + figure(n) + "\n"; });
}

}  // namespace

TEST_CASE("an engine speed log is read in whatever form a logger writes it", "[rpm_log]") {
    const auto plain = [](double t, double n) { return figure(t) + "," + figure(n) + "\n"; };
    const auto ms = [](double t, double n) {
        return std::to_string(static_cast<int>(1000 * t)) + "," + figure(n) + "\n";
    };
    const std::vector<std::pair<const char*, std::string>> cases = {
        {"as the job's page says", "time_s,rpm\n" + rows(plain)},
        {"capitals and blanks", " Time (s) , Engine RPM \r\n" +
                                    rows([](double t, double n) { return figure(t) + " , " + figure(n) + "\r\n"; })},
        {"byte order mark", "\xEF\xBB\xBFtime_s,rpm\n" + rows(plain)},
        {"UTF-16", utf16("time_s,rpm\r\n" + rows(plain))},
        {"single-byte letters", "Zeit [s];Motordrehzahl [1/min];\xD6l\n" + rows([](double t, double n) {
                                    return figure(t, 3, ',') + ";" + figure(n, 1, ',') + ";90\n";
                                })},
        {"tabs", "t\trpm\n" + rows([](double t, double n) { return figure(t) + "\t" + figure(n) + "\n"; })},
        {"blanks between columns",
         "time  rpm\n" + rows([](double t, double n) { return figure(t) + "   " + figure(n) + "\n"; })},
        {"decimal commas", "time_s;rpm\n" + rows([](double t, double n) {
                               return figure(t, 3, ',') + ";" + figure(n, 3, ',') + "\n";
                           })},
        {"decimal commas in quotes", "\"time_s\",\"rpm\"\n" + rows([](double t, double n) {
                                         return "\"" + figure(t, 2, ',') + "\",\"" + figure(n, 1, ',') + "\"\n";
                                     })},
        {"a separator named",
         "sep=;\ntime_s;rpm\n" + rows([](double t, double n) { return figure(t) + ";" + figure(n) + "\n"; })},
        {"a row of units", "Time,Engine Speed,Coolant\ns,1/min,degC\n" +
                               rows([](double t, double n) { return figure(t) + "," + figure(n) + ",88\n"; })},
        {"lines before the header, comments",
         "Log of the car, date, 2026\n# made by hand\n\ntime_s,rpm\n" + rows(plain)},
        {"a header that is a comment", "# time_s,rpm\n" + rows(plain)},
        {"other columns, other order",
         "Vehicle speed (km/h),Engine RPM (rpm),Time (s),Throttle (%)\n" +
             rows([](double t, double n) { return "0," + figure(n) + "," + figure(t) + ",12\n"; })},
        {"a target beside the speed",
         "time,target rpm,rpm\n" + rows([](double t, double n) { return figure(t) + ",700," + figure(n) + "\n"; })},
        {"milliseconds", "time_ms,rpm\n" + rows(ms)},
        {"milliseconds in brackets", "Time [ms],n_mot [1/min]\n" + rows(ms)},
        {"turns a second",
         "time_s,rev/s\n" + rows([](double t, double n) { return figure(t) + "," + figure(n / 60, 6) + "\n"; })},
        {"hertz", "time_s,engine speed (Hz)\n" +
                      rows([](double t, double n) { return figure(t) + "," + figure(n / 60, 6) + "\n"; })},
        {"thousands", "time_s,RPM x1000\n" +
                          rows([](double t, double n) { return figure(t) + "," + figure(n / 1000, 6) + "\n"; })},
        {"rad/s", "time_s,engine speed rad/s\n" +
                      rows([](double t, double n) { return figure(t) + "," + figure(n * 0.104719755, 6) + "\n"; })},
        {"clock",
         "time,rpm\n" + rows([](double t, double n) { return clock_text(t, 36720) + "," + figure(n) + "\n"; })},
        {"past midnight",
         "time,rpm\n" + rows([](double t, double n) { return clock_text(t, 86390) + "," + figure(n) + "\n"; })},
        {"date and time", "timestamp,rpm\n" + rows([](double t, double n) {
                              return "2026-01-31T" + clock_text(t, 36720) + "Z," + figure(n) + "\n";
                          })},
        {"epoch, seconds",
         "time,rpm\n" + rows([](double t, double n) { return figure(1769854320.0 + t) + "," + figure(n) + "\n"; })},
        {"epoch, milliseconds", "timestamp,rpm\n" + rows([](double t, double n) {
                                    return std::to_string(1769854320000LL + static_cast<long long>(1000 * t)) + "," +
                                           figure(n) + "\n";
                                })},
        {"name and value", "\"SECONDS\";\"PID\";\"VALUE\";\"UNITS\"\n" + rows([](double t, double n) {
                               return "\"" + figure(52946.5 + t) + "\";\"Engine RPM\";\"" + figure(n) +
                                      "\";\"rpm\"\n\"" + figure(52946.6 + t) + "\";\"Coolant\";\"90\";\"C\"\n";
                           })},
        {"units in the cells",
         "time_s,rpm\n" + rows([](double t, double n) { return figure(t) + "," + figure(n) + " rpm\n"; })},
    };
    RpmLogHints hints;
    hints.duration_s = 20.0;
    for (const auto& [name, text] : cases) {
        const Told told = parse(text, hints);
        INFO(name << "\n" << told.text());
        REQUIRE(told.log);
        CHECK(told.log->time_s.size() == 41);
        for (const double t : {0.0, 3.25, 10.0, 20.0}) {
            REQUIRE(told.log->at(t));
            CHECK(*told.log->at(t) == Approx(750.0 + 10.0 * t).margin(0.11));
        }
        CHECK(*told.log->mean_rpm(0.0, 20.0) == Approx(850.0).margin(0.1));
        CHECK(told.log->known.size() == 1);
        CHECK(told.log->interval_s == Approx(0.5).margin(0.002));
        CHECK_FALSE(told.log->at(20.6));
        CHECK_FALSE(told.log->at(-0.6));
    }
}

TEST_CASE("a unit that the header does not say follows from the range, with a warning, or the log is refused",
          "[rpm_log]") {
    RpmLogHints hints;
    hints.duration_s = 20.0;
    const auto scaled = [&](double scale, const char* header) {
        return parse(std::string(header) +
                         rows([&](double t, double n) { return figure(t) + "," + figure(n * scale, 6) + "\n"; }),
                     hints);
    };
    for (const double scale : {1.0 / 60, 0.001, 1000.0}) {
        const Told told = scaled(scale, "time_s,rpm\n");
        INFO(scale << told.text());
        REQUIRE(told.log);
        CHECK(*told.log->at(10.0) == Approx(850.0).margin(0.1));
        CHECK(told.warned("rpm_log_units"));
    }
    CHECK_FALSE(scaled(0.1, "time_s,rpm\n").log);    // 75 to 95: neither rpm nor turns a second of this vehicle
    CHECK_FALSE(scaled(0.007, "time_s,rpm\n").log);  // 5.2 to 6.6: thousands or turns a second
    CHECK_FALSE(scaled(60.0, "time_s,rpm\n").log);
    {  // the header's unit is not possible, rpm is
        const Told told = scaled(1.0, "time_s,RPM x1000\n");
        REQUIRE(told.log);
        CHECK(*told.log->at(10.0) == Approx(850.0).margin(0.1));
        CHECK(told.warned("rpm_log_units"));
    }
    {  // milliseconds under a header that says nothing, or seconds
        for (const char* header : {"time,rpm\n", "time_s,rpm\n"}) {
            const Told told = parse(
                header + rows([](double t, double n) { return figure(1000 * t) + "," + figure(n) + "\n"; }), hints);
            REQUIRE(told.log);
            CHECK(*told.log->at(10.0) == Approx(850.0).margin(0.1));
            CHECK(told.warned("rpm_log_units"));
        }
    }
}

TEST_CASE("faults of an engine speed log are mended where that is safe, else it is not used and says why",
          "[rpm_log]") {
    RpmLogHints hints;
    hints.duration_s = 20.0;
    const std::string head = "time_s,rpm\n";
    SECTION("gaps") {
        std::string text = head;
        for (int i = 0; i <= 200; ++i)
            if (!(i > 50 && i < 55) && !(i > 100 && i < 150)) text += figure(0.1 * i) + ",800\n";
        const Told told = parse(text, hints);
        REQUIRE(told.log);
        CHECK(told.warned("rpm_log_gaps"));
        CHECK(told.log->known.size() == 2);
        CHECK(told.log->at(5.25));
        CHECK_FALSE(told.log->at(12.0));
        CHECK(told.log->known_s(0, 20) == Approx(15.0).margin(0.11));
    }
    SECTION("rows out of order, and the newest first") {
        std::string text = head, reversed = head;
        for (int i = 0; i <= 40; ++i) {
            const int k = i == 20 ? 21 : i == 21 ? 20 : i;
            text += figure(0.5 * k) + "," + std::to_string(750 + 5 * k) + "\n";
            reversed += figure(0.5 * (40 - i)) + "," + std::to_string(750 + 5 * (40 - i)) + "\n";
        }
        for (const std::string& one : {text, reversed}) {
            const Told told = parse(one, hints);
            REQUIRE(told.log);
            CHECK(told.warned("rpm_log_time"));
            CHECK(*told.log->at(10.0) == Approx(850.0).margin(0.1));
        }
    }
    SECTION("two logs in one file") {
        const Told told = parse(head + comma_rows() + comma_rows(), hints);
        CHECK_FALSE(told.log);
        CHECK(told.text().find("two logs") != std::string::npos);
    }
    SECTION("a clock that counts whole seconds") {
        std::string text = "time,rpm\n";
        for (int i = 0; i < 200; ++i)
            text += "10:12:" + std::string(i / 10 < 10 ? "0" : "") + std::to_string(i / 10) + "," +
                    std::to_string(750 + i) + "\n";
        const Told told = parse(text, hints);
        REQUIRE(told.log);
        CHECK(*told.log->at(10.05) == Approx(850.5).margin(0.6));
    }
    SECTION("what no engine does is left out") {
        std::string text = head;
        for (int i = 0; i <= 200; ++i)
            text += figure(0.1 * i) + "," +
                    (i == 20   ? "NaN"
                     : i == 30 ? "-800"
                     : i == 40 ? "0"
                     : i == 50 ? "16383"
                     : i == 60 ? ""
                     : i == 70 ? "inf"
                               : "800") +
                    "\n";
        const Told told = parse(text, hints);
        REQUIRE(told.log);
        CHECK(told.warned("rpm_log_values"));
        for (const double t : {2.0, 3.0, 4.0, 5.0, 6.0, 7.0}) CHECK(*told.log->at(t) == Approx(800.0));
    }
    SECTION("an engine that stalls reads 0") {
        std::string text = head;
        for (int i = 0; i <= 200; ++i) text += figure(0.1 * i) + "," + (i < 100 ? "800" : "0") + "\n";
        const Told told = parse(text, hints);
        REQUIRE(told.log);
        CHECK(told.warned("rpm_log_stalled"));
        CHECK(*told.log->at(15.0) == 0.0);
    }
    SECTION("shorter than the take") {
        hints.duration_s = 60.0;
        const Told told = parse(head + comma_rows(), hints);
        REQUIRE(told.log);
        CHECK(told.warned("rpm_log_short"));
        CHECK_FALSE(told.log->mean_rpm(0, 60));
    }
    SECTION("a longer log with a clock, read against the time of recording") {
        std::string text = "time,rpm\n";
        for (int i = 0; i < 200; ++i) text += clock_text(0.5 * i, 36700) + "," + std::to_string(700 + i) + "\n";
        hints.start_of_day_s = 36720;
        const Told told = parse(text, hints);
        REQUIRE(told.log);
        CHECK(*told.log->at(0.0) == Approx(740.0));
        CHECK(told.log->own_clock);
    }
    const std::vector<std::string> unusable = {"",
                                               "\n\n",
                                               "time_s,rpm\n",
                                               "time_s,rpm\n0,800\n",
                                               "rpm\n800\n800\n",
                                               "a,b\n1,2\n3,4\n",
                                               "time_s,temperature\n0,90\n1,90\n",
                                               "time_s,rpm\n0,0\n1,0\n2,0\n",
                                               "time_s,rpm\n0,x\n1,y\n",
                                               "time_s,rpm\n5,800\n5,800\n5,800\n",
                                               "time_s,rpm\n0,5,812,3\n0,6,812,4\n0,7,812,5\n",
                                               "time_s,rpm\n100,800\n200,800\n300,810\n",
                                               std::string("time_s,rpm\n0,\0\n", 15),
                                               "\x7F"
                                               "ELF\x01\x02",
                                               "time_s,rpm\n1e999,800\n2e999,800\n",
                                               "time_s,rpm\n-1e308,800\n0,805\n1e308,810\n",
                                               "time_s,rpm\n-50,800\n-49,800\n-48,800\n",
                                               "time_s,turbo rpm\n0,90000\n1,91000\n"};
    for (const std::string& text : unusable) {
        const Told told = parse(text, hints);
        INFO(text << told.text());
        CHECK_FALSE(told.log);
        REQUIRE(told.warned("rpm_log_unusable"));
    }
}

TEST_CASE("a log written backwards with a row out of its place is in order afterwards", "[rpm_log]") {
    std::string text = "time_s,rpm\n";
    for (int i = 24; i >= 0; --i) text += (i == 5 ? figure(3.2) : figure(0.5 * i)) + "," + figure(750 + 5 * i) + "\n";
    const Told told = parse(text);
    REQUIRE(told.log);
    CHECK(std::is_sorted(told.log->time_s.begin(), told.log->time_s.end()));
    CHECK(told.log->at(3.2) == Approx(775));
    text = "time_s,rpm\n";
    for (int i = 24; i >= 0; --i) text += (i == 5 ? figure(11.5) : figure(0.5 * i)) + "," + figure(750 + 5 * i) + "\n";
    CHECK(parse(text).warned("rpm_log_unusable"));   // 9 s away: no slip of a clock
}

TEST_CASE("what a log's header says is shown in one short line", "[rpm_log]") {
    const std::string header = "rpm \x1b[2J" + std::string(5000, 'x');
    const Told told = parse("time_s," + header + "\n0,90000\n1,91000\n2,92000\n");
    REQUIRE(told.warned("rpm_log_unusable"));
    CHECK(told.text().find('\x1b') == std::string::npos);
    CHECK(told.text().size() < 400);
}

TEST_CASE("a take's log is read from the job's folder, and never from outside it", "[rpm_log]") {
    const TemporaryFolder folder;
    std::filesystem::create_directories(folder.path() / "takes");
    std::ofstream(folder.path() / "takes/idle.csv") << "time_s,rpm\n" << comma_rows();
    OpenedJob job;
    job.folder = folder.path();
    Take take;
    take.file = "takes/idle.wav";
    std::vector<Warning> warnings;
    CHECK_FALSE(rpm_log_of(job, take, warnings));
    CHECK(warnings.empty());
    take.rpm_log = "takes/idle.csv";
    REQUIRE(rpm_log_of(job, take, warnings));
    for (const char* bad : {"takes/none.csv", "takes", "../idle.csv", "/etc/passwd"}) {
        warnings.clear();
        take.rpm_log = bad;
        CHECK_FALSE(rpm_log_of(job, take, warnings));
        REQUIRE(warnings.size() == 1);
        CHECK(warnings.front().code == "rpm_log_unusable");
    }
}

TEST_CASE("a log whose unit of time only the take's length tells is read without being told that length", "[rpm_log]") {
    const TemporaryFolder place;
    std::filesystem::create_directories(place.path() / "takes");
    {
        TakeWriter sound(place.path() / "takes/idle.wav", 1000, 1);
        sound.write(Block(1, 14300));
        sound.close();
    }
    std::string text = "time,rpm\n";   // milliseconds
    for (int i = 0; i < 1431; ++i) text += std::to_string(10 * i) + "," + std::to_string(800 + i / 10) + "\n";
    std::ofstream(place.path() / "takes/idle.csv") << text;
    OpenedJob job;
    job.folder = place.path();
    Take take;
    take.file = "takes/idle.wav";
    take.rpm_log = "takes/idle.csv";
    std::vector<Warning> warnings;
    const auto log = rpm_log_of(job, take, warnings);
    REQUIRE(log);
    CHECK(log->time_s.back() == Approx(14.3));
    std::filesystem::remove(place.path() / "takes/idle.wav");   // nothing tells it then
    CHECK_FALSE(rpm_log_of(job, take, warnings));
}
