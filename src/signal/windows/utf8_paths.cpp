#include <codecvt>
#include <cwchar>
#include <locale>

// std::filesystem makes a path of a std::string by std::codecvt<wchar_t, char, std::mbstate_t>, whatever the locale, and that takes each
// byte for a letter. The linker puts this in the place of that (--wrap in CMakeLists.txt): text is UTF-8 on all systems.
extern "C" std::codecvt_base::result __wrap__ZNKSt7codecvtIwciE5do_inERiPKcS3_RS3_PwS5_RS5_(const void*, std::mbstate_t& state, const char* from,
                                               const char* from_end, const char*& from_next, wchar_t* to,
                                               wchar_t* to_end, wchar_t*& to_next) {
    static const std::codecvt_utf8_utf16<wchar_t> utf8;
    return utf8.in(state, from, from_end, from_next, to, to_end, to_next);
}
