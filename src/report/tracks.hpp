#pragma once
#include <string>

#include "hushtrace/diagnose/findings.hpp"
#include "svg.hpp"

/// The findings' tracks on a picture of frequency against time.
namespace hushtrace {

/// "x2", "x1/6", "x1.37" (with the multiplication sign); nothing for 1.
std::string ratio_text(double ratio);
/// Each track with its further lines, dashed, clicks' rates dotted, named where there is room. Names never cover each
/// other; the leading lines' come first.
std::string tracks_svg(const TakePicture& picture, const svg::Frame& frame, const Scale& x, const Scale& y);
/// The same in a sentence, for captions and for who can't see the picture; empty where there is none.
std::string tracks_words(const TakePicture& picture);

}  // namespace hushtrace
