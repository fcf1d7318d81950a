#include <windows.h>

#include <shellapi.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <string>

#include "hushtrace/job/shell_word.hpp"

using hushtrace::shell_word;

// Windows itself is the judge: CommandLineToArgvW takes a command line apart as programs do.
TEST_CASE("a word of a command line comes back from Windows as it was", "[shell_word]") {
    for (const char* text : {"takes/idle.flac", "C:\\Jobs\\van", "C:\\Jobs\\Kombi Müller", "ends in\\", "ends in two\\\\", "say \"now\"", "a\\\"b c",
                             "", "車 Ω", "R&D", "100%", "it's", "a;b"}) {
        CAPTURE(text);
        const std::wstring line = L"program " + std::filesystem::path(shell_word(text)).wstring();
        int count = 0;
        wchar_t** const words = CommandLineToArgvW(line.c_str(), &count);
        REQUIRE(words != nullptr);
        CHECK(count == 2);
        if (count == 2) CHECK(std::wstring(words[1]) == std::filesystem::path(text).wstring());
        LocalFree(words);
    }
}

TEST_CASE("what the command prompt reads more into stands in double quotes", "[shell_word]") {
    CHECK(shell_word("takes\\idle.flac") == "takes\\idle.flac");
    for (const char* text : {"a b", "a&b", "a|b", "a^b", "a<b", "a>b", "(a)", "a%b", "a,b", "a;b", "a=b"})
        CHECK(shell_word(text) == "\"" + std::string(text) + "\"");
}
