// SPDX-License-Identifier: MIT
//
// The attributes that decide how a path is merged (gitattributes: merge, conflict-marker-size, text, eol, and macros that set
// them), read from the `.gitattributes` files of a tree, and from git's other places for them: info/attributes of the git
// directory, which counts most, core.attributesFile, and the system's. Private to core/merge.
#pragma once

#include "core/git/objects.h"

#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace espalier {

enum class MergeAttribute : std::uint8_t { Text, Union, Binary };

struct PathAttributes {
    MergeAttribute driver = MergeAttribute::Text;
    int markerSize = 7;
    std::string named;       // what the attribute `merge` names, one of git's own or not; empty for none
    bool saysNothing = true; // about `merge`
    enum class Lines : std::uint8_t { AsTheyAre, Unsaid, Guessed, Text } lines = Lines::Unsaid; // text, eol, crlf
    bool isConverted = false; // by ident, filter or working-tree-encoding
};

class MergeAttributes {
  public:
    // A tree without such files costs one look at each folder above the path. Errors: Broken; Unsupported when a file was
    // made to cost more than any real one does (many megabytes, patterns that take for ever).
    Result<PathAttributes> of(ObjectStore& store, const Oid& tree, const std::string& path);

  private:
    struct Setting {
        enum State : std::uint8_t { Set, Unset, Unspecified, Valued } state = Set;
        std::string name, value;
    };
    struct Rule {
        std::string pattern; // or the macro's name
        bool isMacro = false;
        bool anchored = false; // holds a slash: matched against the whole path below its folder
        std::vector<Setting> settings;
    };
    struct File {
        std::vector<Rule> rules;                         // in order, without macros
        std::map<std::string, Rule, std::less<>> macros; // by name, the last of each
    };
    using Rules = std::shared_ptr<const File>;
    struct Decision;

    static std::optional<Rule> ruleOf(std::string_view line);
    static File parse(std::string_view bytes);
    Result<Rules> rulesOf(ObjectStore& store, const Oid& blob);
    Result<std::vector<std::pair<std::string_view, Rules>>> filesAbove(ObjectStore& store, const Oid& tree,
                                                                       std::string_view path);

    // The files beside the tree's, read once: above all others, and below.
    struct Outside {
        Rules own, user, system;
    };
    const Outside& outside(const Repository& repository);

    std::map<Oid, Rules> m_rules; // by blob
    std::optional<Outside> m_outside;
};

} // namespace espalier
