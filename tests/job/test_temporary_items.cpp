#include <catch2/catch.hpp>

#include <string>
#include <vector>

#include "hushtrace/job/job_text.hpp"
#include "hushtrace/job/temporary_items.hpp"
#include "hushtrace/signal/error.hpp"

using namespace hushtrace;

namespace {

Job job_with(const std::string& takes, const std::string& observations = "") {
    std::vector<Warning> warnings;
    return parse_job(R"({"schema": "hushtrace.job/1", "takes": [)" + takes + R"(], "observations": [)" + observations + "]}", warnings);
}
std::string take(const std::string& name, const std::string& hookup, const std::string& channels = R"("left","right")") {
    return R"({"file": "takes/)" + name + R"(.flac", "engine": "idle", "channels": [)" + channels + R"(], "hookup": [)" + hookup + "]}";
}
std::vector<std::string> words(const std::vector<TemporaryItem>& items) {
    std::vector<std::string> out;
    for (const TemporaryItem& one : items) out.emplace_back(one.word);
    return out;
}
using Words = std::vector<std::string>;

}  // namespace

TEST_CASE("what a take used must come out again, and the last take that used it is named", "[temporary]") {
    const Job job = job_with(take("a", R"("normal")") + "," + take("b", R"("isolator")") + "," + take("c", R"("isolator","temporary_ground")") +
                             "," + take("d", R"("inputs_shorted")"));
    const auto items = items_still_in(job);
    REQUIRE(words(items) == Words{"temporary_ground", "isolator"});
    CHECK(items[1].takes == Words{"takes/b.flac", "takes/c.flac"});
    CHECK(items[1].last_take == "takes/c.flac");
    CHECK(item_in_words(items[1]).find("last used in takes/c.flac") != std::string::npos);
}

TEST_CASE("every hookup but normal and the shorted Y lead is undone by some item, and each item is spelled once", "[temporary]") {
    for (const std::string_view hookup : words_of<Hookup>()) {
        INFO(hookup);
        CHECK(temporary_item_word(hookup).has_value() == (hookup != "normal" && hookup != "inputs_shorted"));
        const Job job = job_with(take("a", "\"" + std::string(hookup) + "\""));
        CHECK(items_still_in(job).size() == (temporary_item_word(hookup) ? 1u : 0u));
    }
    CHECK(temporary_item_word("shorted_at_amp") == "dummy_at_amp");
    CHECK(temporary_item_word("chair") == std::nullopt);
    CHECK(words(items_still_in(job_with(take("s", R"("normal")", R"("left","supply")")))) == Words{"supply_probe"});
    CHECK(words(items_still_in(job_with(take("s", R"("normal")", R"("left","supply_current")")))) == Words{"current_clamp"});
}

TEST_CASE("what came out is off the list until a later take uses it again", "[temporary]") {
    const std::string b = take("b", R"("isolator")"), c = take("c", R"("normal")"), d = take("d", R"("isolator")");
    const std::string out_after_c = R"({"what": "removed", "value": "isolator", "after_take": "takes/c.flac"})";
    CHECK(items_still_in(job_with(b + "," + c, out_after_c)).empty());
    CHECK(temporary_items(job_with(b + "," + c, out_after_c)).at(0).out);
    CHECK(words(items_still_in(job_with(b + "," + c + "," + d, out_after_c))) == Words{"isolator"});
    // by hand, without after_take: it stands for all takes
    CHECK(items_still_in(job_with(b + "," + c + "," + d, R"({"what": "removed", "value": "isolator"})")).empty());
    // a take that the job no longer has proves nothing
    CHECK(words(items_still_in(job_with(b, R"({"what": "removed", "value": "isolator", "after_take": "takes/gone.flac"})"))) == Words{"isolator"});
    // another item's removal is no help
    CHECK(words(items_still_in(job_with(b, R"({"what": "removed", "value": "temporary_lead"})"))) == Words{"isolator"});
}

TEST_CASE("an observation uses items as a take does, unless it was declined", "[temporary]") {
    const std::string heard = R"({"what": "noise_heard", "value": "gone", "hookup": "shorted_at_amp", "engine": "idle"})";
    const std::string out = R"({"what": "removed", "value": "dummy_at_amp"})";
    const auto items = items_still_in(job_with("", heard));
    REQUIRE(words(items) == Words{"dummy_at_amp"});
    CHECK(items[0].observations == std::vector<std::size_t>{0});
    CHECK(!items[0].last_take);
    CHECK(items_still_in(job_with("", heard + "," + out)).empty());
    CHECK(words(items_still_in(job_with("", out + "," + heard))) == Words{"dummy_at_amp"});
    CHECK(items_still_in(job_with("", R"({"what": "noise_heard", "declined": true, "hookup": "shorted_at_amp"})")).empty());
}

TEST_CASE("a removal is read and written, and what is no item is refused", "[temporary]") {
    const std::string removed = R"({"what": "removed", "value": "isolator", "after_take": "takes/b.flac"})";
    const Job job = job_with(take("b", R"("isolator")"), removed);
    std::vector<Warning> warnings;
    CHECK(parse_job(job_text(job), warnings).observations.at(0).after_take == "takes/b.flac");
    CHECK(warnings.empty());
    for (const char* const bad : {R"({"what": "removed", "value": "seat"})", R"({"what": "removed", "value": 3})",
                                  R"({"what": "ground_drop", "value": 0.1, "after_take": "takes/b.flac"})",
                                  R"({"what": "removed", "value": "isolator", "after_take": "../b.flac"})"})
        CHECK_THROWS_AS(job_with("", bad), Error);
}
