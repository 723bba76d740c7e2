// SPDX-License-Identifier: MIT
#include "app/commands/arguments.h"

namespace espalier {

Result<Arguments> Arguments::parse(const CommandShape& shape, const std::vector<std::string>& given)
{
    const std::string help = "See espalier --help";
    Arguments parsed;
    parsed.m_name = shape.name;
    bool onlyWords = false;
    for (std::size_t i = 0; i < given.size(); ++i) {
        const std::string& text = given[i];
        if (!onlyWords && text == "--") {
            onlyWords = true;
            continue;
        }
        if (onlyWords || !text.starts_with("--")) {
            parsed.m_words.push_back(text);
            continue;
        }
        const std::size_t equals = text.find('=');
        const std::string option = text.substr(2, equals == std::string::npos ? equals : equals - 2);
        if (shape.flags.contains(option) && equals == std::string::npos) {
            parsed.m_flags.insert(option);
        } else if (!shape.values.contains(option)) {
            return fail(ErrorKind::Usage, "The command " + shape.name + " has no such option", text, help);
        } else if (equals != std::string::npos) {
            parsed.m_values[option] = text.substr(equals + 1);
        } else if (i + 1 < given.size()) {
            parsed.m_values[option] = given[++i];
        } else {
            return fail(ErrorKind::Usage, "The option needs a value", text, help);
        }
    }
    if (parsed.m_words.size() < shape.words.size() && !parsed.m_flags.contains("list"))
        return fail(ErrorKind::Usage, "The command " + shape.name + " needs " + shape.words[parsed.m_words.size()], {},
                    help);
    if (parsed.m_words.size() > shape.words.size())
        return fail(ErrorKind::Usage, "The command " + shape.name + " takes no such word",
                    parsed.m_words[shape.words.size()], help);
    return parsed;
}

std::optional<std::string> Arguments::value(const std::string& option) const
{
    const auto at = m_values.find(option);
    return at == m_values.end() ? std::nullopt : std::optional(at->second);
}

Result<std::string> Arguments::required(const std::string& option) const
{
    if (auto given = value(option))
        return *given;
    return fail(ErrorKind::Usage, "The command " + m_name + " needs --" + option, {}, "See espalier --help");
}

} // namespace espalier
