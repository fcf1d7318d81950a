#include <fmt/format.h>
#include <fmt/ranges.h>

#include <utility>

#include "cli/offers.hpp"
#include "completion.hpp"

namespace hushtrace::cli {
namespace {

constexpr const char* kFront = R"sh(# bash completion for hushtrace; written by the build from the program's own options

# words that begin as what is typed does; with commas, behind the last one
_hushtrace_words()
{
    local before=""
    if [[ $1 == list ]]; then
        compopt -o nospace 2>/dev/null
        [[ $cur == *,* ]] && before="${cur%,*},"
    fi
    [[ $2 == *= ]] && compopt -o nospace 2>/dev/null
    COMPREPLY=($(compgen -P "$before" -W "$2" -- "${cur##*,}"))
}

# the job's takes as job.json names them
_hushtrace_takes()
{
    local i folder=""
    for ((i = 2; i < COMP_CWORD; i++)); do
        [[ ${COMP_WORDS[i]} == --job ]] || continue
        folder=${COMP_WORDS[i + 1]}
        [[ $folder == "=" ]] && folder=${COMP_WORDS[i + 2]}
    done
    folder=${folder//\\/}
    folder=${folder//[\"\']/}
    [[ $folder == \~/* ]] && folder=$HOME/${folder#\~/}
    local IFS=$'\n'
    [[ -d $folder/takes ]] &&
        COMPREPLY=($(compgen -W "$(cd -- "$folder" && printf '%q\n' takes/*.flac takes/*.wav | command grep -v '\*')" -- "$cur"))
}

# a simulated vehicle's name, or a file
_hushtrace_vehicles()
{
    local program folder=$HUSHTRACE_SIGNALS file names=""
    program=$(readlink -f -- "$(type -P -- "${COMP_WORDS[0]/#\~/$HOME}")")
    [[ $folder ]] || folder=${program%/*/*}/share/hushtrace/signals
    for file in "$folder"/*.json; do
        file=${file##*/}
        names+=" ${file%.json}"
    done
    COMPREPLY=($(compgen -W "${names//\*/}" -- "$cur"))
    compopt -o default 2>/dev/null
}

_hushtrace()
{
    local cur=${COMP_WORDS[COMP_CWORD]} option=${COMP_WORDS[COMP_CWORD - 1]} command=""
    COMPREPLY=()
    # bash cuts a word at the equals sign
    if [[ $cur == "=" ]]; then
        cur=""
    elif [[ $option == "=" ]]; then
        option=${COMP_WORDS[COMP_CWORD - 2]}
    fi
    ((COMP_CWORD > 1)) && command=${COMP_WORDS[1]}
)sh";

constexpr const char* kBack = R"sh(}
complete -F _hushtrace hushtrace
)sh";

/// What is done where the value of such an option is wanted.
std::string action(const DescribedOption& option) {
    if (!option.words.empty()) return fmt::format("_hushtrace_words {} \"{}\"", option.list ? "list" : "one", fmt::join(option.words, " "));
    if (option.type == file_type) return "compopt -o default 2>/dev/null";
    if (option.type == folder_type) return "compopt -o dirnames 2>/dev/null";
    if (option.type == take_type) return "_hushtrace_takes";
    if (option.type == vehicle_type) return "_hushtrace_vehicles";
    return ":";
}

}  // namespace

std::string bash_completion(const std::vector<DescribedCommand>& commands) {
    std::vector<std::pair<std::string, std::string>> patterns;   // action, "capture --engine" | ...
    std::string options, names;
    for (const DescribedCommand& command : commands) {
        std::string own, standing;
        for (const DescribedOption& option : command.options) {
            if (option.named)
                own += (own.empty() ? "" : " ") + option.name;
            else
                standing += fmt::format(" {}", fmt::join(option.words, " "));
            if (!option.named || !option.takes_value) continue;
            const std::string pattern = fmt::format("\"{} {}\"", command.name, option.name), does = action(option);
            auto known = patterns.begin();
            while (known != patterns.end() && known->first != does) ++known;
            if (known == patterns.end())
                patterns.emplace_back(does, pattern);
            else
                known->second += " | \\\n        " + pattern;
        }
        if (!command.name.empty()) names += " " + command.name;
        options += fmt::format("    \"{}\") own=\"{}\" standing=\"{}\" ;;\n", command.name, own, standing.empty() ? "" : standing.substr(1));
    }
    std::string text = kFront;
    text += "    case \"$command $option\" in\n";
    for (const auto& [does, pattern] : patterns) text += fmt::format("    {})\n        {}\n        return ;;\n", pattern, does);
    text += "    esac\n    local own=\"\" standing=\"\"\n    case $command in\n" + options + "    esac\n";
    text += fmt::format("    [[ $command ]] || standing=\"{}\"\n", names.substr(1));
    text += "    [[ $cur == -* ]] && standing=$own\n    COMPREPLY=($(compgen -W \"$standing\" -- \"$cur\"))\n";
    return text + kBack;
}

}  // namespace hushtrace::cli
