#include <fmt/format.h>
#include <fmt/ranges.h>

#include "cli/offers.hpp"
#include "completion.hpp"

namespace hushtrace::cli {
namespace {

constexpr const char* kFront = R"sh(#compdef hushtrace
# zsh completion for hushtrace; written by the build from the program's own options

# the job's takes as job.json names them
_hushtrace_takes() {
  local folder=${(Q)~opt_args[--job]}
  local -a takes
  [[ -d $folder ]] && takes=($folder/takes/*.(flac|wav)(N))
  compadd -- ${takes#$folder/}
}

# a simulated vehicle's name, or a file
_hushtrace_vehicles() {
  local program=${${(Q)~service}:c:A}
  local folder=${HUSHTRACE_SIGNALS:-${program:h:h}/share/hushtrace/signals}
  local -a vehicles
  vehicles=($folder/*.json(N:t:r))
  compadd -- $vehicles
  _files -g '*.json'
}

_hushtrace() {
  local curcontext="$curcontext" state line ret=1
  local -a commands
  typeset -A opt_args
)sh";

std::string shell_quoted(const std::string& text) {
    std::string out = "'";
    for (const char c : text)
        out += c == '\'' ? std::string("'\\''") : std::string(1, c);
    return out + "'";
}

/// Inside a specification of _arguments a bracket and a colon mean something.
std::string plain(const std::string& text) {
    std::string out;
    for (const char c : text) {
        if (c == '[' || c == ']' || c == ':' || c == '\\') out += '\\';
        out += c;
    }
    return out;
}

std::string action(const DescribedOption& option) {
    if (option.list && !option.words.empty()) return fmt::format("_sequence compadd - {}", fmt::join(option.words, " "));
    if (!option.words.empty() && option.words.front().ends_with('=')) return fmt::format("compadd -S \"\" - {}", fmt::join(option.words, " "));
    if (!option.words.empty()) return fmt::format("({})", fmt::join(option.words, " "));
    if (option.type == file_type) return "_files";
    if (option.type == folder_type) return "_files -/";
    if (option.type == take_type) return "_hushtrace_takes";
    if (option.type == vehicle_type) return "_hushtrace_vehicles";
    return " ";
}

std::string specification(const DescribedOption& option) {
    if (!option.named) return shell_quoted(fmt::format("1:{}:{}", plain(option.name), action(option)));
    std::string spec = option.again ? "*" : "";
    spec += option.name + (option.takes_value ? "=" : "") + "[" + plain(option.help) + "]";
    if (option.takes_value) spec += std::string(option.value_may_lack ? "::" : ":") + plain(option.name.substr(2)) + ":" + action(option);
    return shell_quoted(spec);
}

}  // namespace

std::string zsh_completion(const std::vector<DescribedCommand>& commands) {
    std::string text = kFront, cases, own;
    text += "  commands=(\n";
    for (const DescribedCommand& command : commands) {
        std::string specifications;
        for (const DescribedOption& option : command.options) specifications += " \\\n        " + specification(option);
        if (command.name.empty()) {
            own = specifications;
            continue;
        }
        text += "    " + shell_quoted(command.name + ":" + plain(command.help)) + "\n";
        cases += fmt::format("    {})\n      _arguments{} && ret=0 ;;\n", command.name, specifications);
    }
    text += fmt::format("  )\n  _arguments -C{} \\\n        '1: :->command' \\\n        '*:: :->rest' && ret=0\n", own);
    text += "  case $state in\n  command)\n    _describe -t commands 'command' commands && ret=0 ;;\n  rest)\n    case $words[1] in\n";
    text += cases + "    esac ;;\n  esac\n  return ret\n}\n\n_hushtrace \"$@\"\n";
    return text;
}

}  // namespace hushtrace::cli
