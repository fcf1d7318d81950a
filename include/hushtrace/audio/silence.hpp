#pragma once
#include <cstdio>

namespace hushtrace {

/// Sound libraries write to stderr whatever crosses their minds: cards that aren't there, servers that don't
/// run, lines of their own source. While one of these lives, file descriptor 2 leads nowhere, and what the
/// program itself has to say goes to voice(). May be nested; the last to go restores stderr. Not for several
/// threads at once.
class StderrSilence {
public:
    StderrSilence();
    ~StderrSilence();
    StderrSilence(const StderrSilence&) = delete;
    StderrSilence& operator=(const StderrSilence&) = delete;

    /// Where stderr led before; unbuffered. Plain stderr when it could not be silenced.
    static std::FILE* voice() noexcept;
};

}  // namespace hushtrace
