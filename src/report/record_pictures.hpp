#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "hushtrace/report/page.hpp"

/// The page's pictures as files of their own.
namespace hushtrace {

/// A picture of a page, and the whole SVG file that shows it alone.
struct DrawnPicture {
    RecordPicture listed;
    std::string svg;
};

/// All pictures of a page in its order, each in its wide size.
///   page   as record_page makes it: each picture is an <svg> in a <div class="wide">, pixels that two sizes share lie in <defs>
std::vector<DrawnPicture> pictures_of(std::string_view page);

/// A file's name from its number and title: "03-spectrum-of-takes-idle-flac.svg". Lower-case letters, digits and dashes of ASCII alone.
std::string picture_name(std::size_t number, const std::string& title);
/// Whether a file's name is one of those that picture_name makes.
bool is_picture_name(const std::string& name);

}  // namespace hushtrace
