// Linked into the unit tests by tests/bench/mutation.py: notes what each case reached.
#define CATCH_CONFIG_EXTERNAL_INTERFACES
#include <catch2/catch.hpp>

#include <ctime>

namespace mutant {
void write_notes(const char* name, double seconds);
}

namespace {

struct Noting : Catch::TestEventListenerBase {
    using TestEventListenerBase::TestEventListenerBase;
    std::clock_t from = 0;   // of the processor's time: the machine may be busy
    void testRunStarting(const Catch::TestRunInfo&) override { mutant::write_notes("-", 0.0); }
    void testCaseStarting(const Catch::TestCaseInfo&) override { from = std::clock(); }
    void testCaseEnded(const Catch::TestCaseStats& stats) override {
        mutant::write_notes(stats.testInfo.name.c_str(), static_cast<double>(std::clock() - from) / CLOCKS_PER_SEC);
    }
};
CATCH_REGISTER_LISTENER(Noting)

}  // namespace
