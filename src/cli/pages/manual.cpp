#include "manual.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <sstream>
#include <stdexcept>

#include "cli/offers.hpp"
#include "usage_notes.hpp"

namespace hushtrace::cli {
namespace {

/// As it stands: troff takes a backslash, a dash and a line that begins with a point or a quote for its own. A line may end
/// behind a comma, as in drive=diesel,supply_v=12.
std::string plain(const std::string& text) {
    std::string out = text.starts_with('.') || text.starts_with('\'') ? "\\&" : "";
    for (const char c : text) {
        if (c == '\\')
            out += "\\e";
        else if (c == '-')
            out += "\\-";
        else
            out += c;
        if (c == ',') out += "\\:";
    }
    return out;
}

std::string heading(const std::string& name, const std::string& what) {
    std::string upper = name;
    std::transform(upper.begin(), upper.end(), upper.begin(), [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
    return fmt::format(".\\\" written by the build from the program's own options\n.TH {} 1 \"\" \"hushtrace {}\" \"User Commands\"\n.nh\n.ad l\n"
                       ".SH NAME\n{} \\- {}\n",
                       plain(upper), HUSHTRACE_VERSION, plain(name), plain(what));
}

std::string value_of(const DescribedOption& option) {
    if (!option.takes_value) return "";
    if (option.type.starts_with('[')) return " " + plain(option.type);
    return fmt::format(" \\fI{}\\fR", plain(option.type));
}

std::string entry(const DescribedOption& option) {
    std::string notes = option.required ? " Must be given." : "";
    if (option.list) notes += " Several with commas between.";
    if (!option.usual.empty()) notes += fmt::format(" Unless given: {}.", plain(option.usual));
    return fmt::format(".TP\n\\fB{}\\fR{}\n{}.{}\n", plain(option.name), option.named ? value_of(option) : "", plain(option.help), notes);
}

/// What in an example is an option must be one of the command's.
void check_example(const DescribedCommand& command, const std::string& line) {
    std::istringstream words(line);
    std::string program, name, word;
    words >> program >> name;
    bool right = program == "hushtrace" && name == command.name;
    while (words >> word)
        if (word.starts_with("--"))
            right = right && std::ranges::any_of(command.options, [&](const DescribedOption& one) { return one.name == word; });
    if (!right) throw std::runtime_error(fmt::format("'{}' is no line for the command {}", line, command.name));
}

constexpr const char* kExits = R"(.SH EXIT STATUS
.TP
.B 0
Done; also a capture that was ended with Ctrl\-C.
.TP
.B 1
Done, and something measured fails a limit that is written in job.json.
.TP
.B 2
The request or its input was wrong: one line on stderr says what, and how to mend it. Nothing was written.
.TP
.B 3
The device or the disk failed; what was captured is kept and marked.
)";

constexpr const char* kProgram = R"(.SH DESCRIPTION
With a laptop and a two-in, two-out audio interface, hushtrace plays known tones through a vehicle's head unit (the source), captures
what arrives at the amplifier's input, and says how loud the source may go, where the amplifier's gain must stand, what the noise is
and how loud, where it gets in, and what to do next. It keeps the takes in a job's folder and writes a record to hand over.
.PP
Results go to stdout, progress and questions to stderr. Every command that says something prints it as one JSON document with
.BR \-\-json .
.PP
.B hushtrace demo
does a whole job on a simulated vehicle, without any device.
)";

constexpr const char* kCare = R"(.SH TAKE CARE
Battery: negative off first, on last; every added wire fused. Bridged outputs and factory speaker outputs drive both wires: neither may
touch ground or a grounded interface input. Full\-scale tones with the speakers off. Amplifier off before a plug moves. Running engines
outdoors, loose leads and sleeves clear of belts and fans. Orange cables of hybrids and electric vehicles are for trained staff only;
airbag wiring (yellow plugs) is never probed. The tool advises; you decide.
)";

constexpr const char* kSurroundings = R"(.SH ENVIRONMENT
.TP
.B HUSHTRACE_SIGNALS
The folder in which simulated vehicles are looked for by name, in place of the one that came with the program.
.TP
.B NO_COLOR
Set to anything, the moving view draws without colour.
.SH FILES
.TP
.I job.json
In a job's folder: the vehicle, the takes and their conditions, the observations.
.TP
.I ../share/hushtrace/signals
Beside the folder of the program: the simulated vehicles.
.TP
.I ../share/doc/hushtrace
Likewise: the pages of docs/, with the drawings of every hookup.
)";

}  // namespace

std::string program_manual(const std::vector<DescribedCommand>& commands) {
    std::string text = heading("hushtrace", "finds the noise in a vehicle's sound system, and where its gain must stand");
    text += ".SH SYNOPSIS\n.B hushtrace\n.I COMMAND\n.RI [ OPTIONS ]\n.br\n.B hushtrace\n.BR \\-\\-help \" | \" \\-\\-version\n";
    text += kProgram;
    text += ".SH COMMANDS\nIn the order in which a job uses them. Each has a page of its own, such as\n.BR hushtrace\\-noise (1).\n";
    std::string own, pages;
    for (const DescribedCommand& command : commands) {
        if (command.name.empty()) {
            for (const DescribedOption& option : command.options) own += entry(option);
            continue;
        }
        text += fmt::format(".TP\n.B {}\n{}.\n", command.name, plain(command.help));
        pages += fmt::format("{}.BR hushtrace\\-{} (1)", pages.empty() ? "" : ",\n", command.name);
    }
    return text + ".SH OPTIONS\n" + own + kCare + kExits + kSurroundings + ".SH SEE ALSO\n" + pages + "\n";
}

std::string command_manual(const DescribedCommand& command) {
    const UsageNotes& notes = notes_on(command.name);
    std::string text = heading("hushtrace-" + command.name, command.help);
    text += fmt::format(".SH SYNOPSIS\n.B hushtrace {}\n", command.name);
    for (const DescribedOption& option : command.options) {
        if (!option.required) continue;
        if (option.named)
            text += fmt::format(".BI {} \" {}\"\n", plain(option.name), plain(option.type));
        else
            text += fmt::format(".I {}\n", plain(option.name));
    }
    text += fmt::format(".RI [ OPTIONS ]\n.SH DESCRIPTION\n{}\n.SH OPTIONS\n", plain(notes.text));
    std::string under = "Options";
    for (const DescribedOption& option : command.options) {
        if (option.heading != under && option.named) text += fmt::format(".SS {}\n", plain(under = option.heading));
        text += entry(option);
    }
    text += ".SH EXAMPLES\n";
    for (const UsageExample& example : notes.examples) {
        check_example(command, example.line);
        text += fmt::format(".PP\n{}\n.PP\n.in +4n\n.EX\n{}\n.EE\n.in\n", plain(example.what), plain(example.line));
    }
    text += kExits;
    text += ".SH SEE ALSO\n.BR hushtrace (1);\nin /usr/share/doc/hushtrace:\n";
    for (std::size_t k = 0; k < notes.pages.size(); ++k)
        text += fmt::format(".I docs/{}{}\n", plain(notes.pages[k]), k + 1 < notes.pages.size() ? "," : "");
    return text;
}

}  // namespace hushtrace::cli
