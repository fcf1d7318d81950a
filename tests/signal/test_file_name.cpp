#include <catch2/catch.hpp>

#include "hushtrace/signal/file_name.hpp"

using hushtrace::unfit_on_windows;

// Microsoft Learn, "Naming Files, Paths, and Namespaces": reserved characters and names, "also avoid these names followed immediately by
// an extension", "do not end a file or directory name with a space or a period"; the superscript digits of the ports from the same page.
TEST_CASE("names of devices are none for files on Windows, whatever their case and ending", "[file_name]") {
    for (const char* name : {"CON", "con", "Nul", "prn.flac", "AUX.tar.gz", "com1", "LPT9.wav", "com\xC2\xB2.txt", "nul .wav", "CONIN$"}) {
        CAPTURE(name);
        CHECK(unfit_on_windows(name).find("device of Windows") != std::string::npos);
    }
    for (const char* name : {"console.flac", "com.flac", "com10", "lpt", "nulled", "xCON", "idle.con", "COM0x"}) {
        CAPTURE(name);
        CHECK(unfit_on_windows(name).empty());
    }
}

TEST_CASE("characters that Windows keeps for itself and endings that it drops are told", "[file_name]") {
    for (const char* name : {"a:b.flac", "a?", "a*b", "\"a\"", "a<b", "a>b", "a|b", "a\\b", "a/b", "a\tb"})
        CHECK(unfit_on_windows(name).find("control character or one of") != std::string::npos);
    for (const char* name : {"idle.", "idle ", "..."}) CHECK(unfit_on_windows(name).find("ends in a dot or a space") != std::string::npos);
    for (const char* name : {"idle.flac", ".idle.flac.new", "Kombi Sträng 12%.wav", "車.flac", "a+b=c, d;e'f&g (2)"})
        CHECK(unfit_on_windows(name).empty());
}
