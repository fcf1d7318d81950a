#include "described.hpp"

#include "cli/command.hpp"
#include "cli/offers.hpp"

namespace hushtrace::cli {
namespace {

DescribedOption described(CLI::Option& option) {
    DescribedOption told;
    told.named = !option.get_positional() || !option.get_lnames().empty();
    told.name = told.named ? "--" + option.get_lnames().front() : option.get_name(true);
    told.takes_value = option.get_items_expected_max() > 0;
    told.value_may_lack = told.takes_value && option.get_items_expected_min() == 0;
    if (told.takes_value) told.type = option.get_type_name();
    told.help = option.get_description();
    told.heading = option.get_group();
    told.usual = option.get_default_str();
    told.required = option.get_required();
    told.again = option.get_items_expected_max() > 1;
    told.list = option.get_delimiter() != '\0';
    told.words = offered(option);
    return told;
}

DescribedCommand described(CLI::App& app) {
    DescribedCommand told{app.get_name(), app.get_description(), {}};
    for (const std::string& heading : app.get_groups())
        for (CLI::Option* option : app.get_options([&](CLI::Option* one) { return one->get_group() == heading && !heading.empty(); }))
            told.options.push_back(described(*option));
    return told;
}

}  // namespace

std::vector<DescribedCommand> described() {
    CLI::App app;
    Context context;
    add_commands(app, context);
    std::vector<DescribedCommand> all{described(app)};
    for (CLI::App* command : app.get_subcommands([](CLI::App*) { return true; })) all.push_back(described(*command));
    return all;
}

}  // namespace hushtrace::cli
