// SPDX-License-Identifier: MIT
#include "core/git/commit.h"

#include "core/git/overrides.h"
#include "core/git/process.h"
#include "core/git/text.h"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cstdio>
#include <cstdlib>
#include <iconv.h>

namespace espalier {

namespace {

// "Name <address> 1700000000 +0100", as leniently as git reads it: a missing date is the epoch.
Person parsePerson(std::string_view line)
{
    Person person;
    const std::size_t close = line.rfind('>');
    const std::size_t open = close == std::string_view::npos ? close : line.substr(0, close).find('<');
    if (open == std::string_view::npos) {
        person.name = line;
        return person;
    }
    std::string_view name = line.substr(0, open);
    while (!name.empty() && name.back() == ' ')
        name.remove_suffix(1);
    person.name = name;
    person.email = line.substr(open + 1, close - open - 1);
    std::string_view rest = line.substr(close + 1);
    while (!rest.empty() && rest.front() == ' ')
        rest.remove_prefix(1);
    const auto [end, error] = std::from_chars(rest.data(), rest.data() + rest.size(), person.when);
    if (error != std::errc{}) {
        person.when = 0;
        return person;
    }
    rest.remove_prefix(std::size_t(end - rest.data()));
    while (!rest.empty() && rest.front() == ' ')
        rest.remove_prefix(1);
    int zone = 0;
    if (rest.size() >= 2 && (rest[0] == '+' || rest[0] == '-') &&
        std::from_chars(rest.data() + 1, rest.data() + rest.size(), zone).ec == std::errc{} && zone < 10000)
        person.offsetMinutes = (rest[0] == '-' ? -1 : 1) * (zone / 100 * 60 + zone % 100);
    return person;
}

struct Header {
    std::string_view name;
    std::string value; // continuation lines joined by line ends, their leading space dropped
};

// The next header of `bytes`, continuation lines included; `bytes` moves past it. False at the blank line or the end.
bool takeHeader(std::string_view& bytes, Header& header)
{
    if (bytes.empty() || bytes.front() == '\n')
        return false;
    const auto takeLine = [&bytes] {
        const std::size_t end = std::min(bytes.find('\n'), bytes.size());
        const std::string_view line = bytes.substr(0, end);
        bytes.remove_prefix(std::min(end + 1, bytes.size()));
        return line;
    };
    const std::string_view line = takeLine();
    const std::size_t space = line.find(' ');
    header.name = line.substr(0, space);
    header.value = space == std::string_view::npos ? std::string_view() : line.substr(space + 1);
    while (!bytes.empty() && bytes.front() == ' ') {
        header.value += '\n';
        header.value += takeLine().substr(1);
    }
    return true;
}

// The name comes from the repository: nothing but the form that charset names have (RFC 2978) reaches the converter.
bool isCharsetName(std::string_view name)
{
    return !name.empty() && name.size() <= 40 && std::ranges::all_of(name, [](unsigned char c) {
        return std::isalnum(c) || c == '-' || c == '_' || c == '.' || c == ':' || c == '+';
    });
}

bool namesUtf8(std::string_view name)
{
    std::string lower;
    for (const char c : name)
        if (c != '-')
            lower += char(std::tolower(static_cast<unsigned char>(c)));
    return lower == "utf8";
}

// Nothing when the charset is not known or the bytes are not of it.
std::optional<std::string> converted(std::string_view bytes, const std::string& charset)
{
    if (charset.empty() || namesUtf8(charset))
        return std::string(bytes);
    if (!isCharsetName(charset))
        return std::nullopt;
    const iconv_t converter = iconv_open("UTF-8", charset.c_str());
    if (converter == iconv_t(-1))
        return std::nullopt;
    std::string in(bytes), text(bytes.size() * 4 + 16, '\0');
    char* from = in.data();
    char* to = text.data();
    std::size_t fromLeft = in.size(), toLeft = text.size();
    const bool whole = iconv(converter, &from, &fromLeft, &to, &toLeft) != std::size_t(-1);
    iconv_close(converter);
    if (!whole)
        return std::nullopt;
    text.resize(text.size() - toLeft);
    return text;
}

// Bytes that are no UTF-8 as the characters that they are in Latin-1.
std::string repaired(std::string_view bytes)
{
    std::string text;
    while (!bytes.empty()) {
        std::size_t length = 1;
        while (length <= 4 && !isUtf8(bytes.substr(0, length)))
            ++length;
        if (length <= 4) {
            text += bytes.substr(0, length);
            bytes.remove_prefix(std::min(length, bytes.size()));
            continue;
        }
        const auto byte = static_cast<unsigned char>(bytes.front());
        text += char(0xC0 | (byte >> 6));
        text += char(0x80 | (byte & 0x3F));
        bytes.remove_prefix(1);
    }
    return text;
}

Person personOf(std::string_view line, const std::string& charset)
{
    if (charset.empty())
        return parsePerson(line);
    const auto text = converted(line, charset);
    return parsePerson(text ? *text : line);
}

void appendHeader(std::string& bytes, std::string_view name, std::string_view value)
{
    bytes += name;
    bytes += ' ';
    for (const char c : value) {
        bytes += c;
        if (c == '\n')
            bytes += ' ';
    }
    bytes += '\n';
}

} // namespace

Result<Commit> parseCommit(const Oid& id, std::string_view bytes)
{
    const auto damaged = [&] {
        return fail(ErrorKind::Broken, "A commit object is damaged", id.hex(), "Run git fsck in the repository");
    };
    Commit commit;
    commit.id = id;
    Header header;
    bool hasTree = false, hasAuthor = false, hasCommitter = false;
    while (takeHeader(bytes, header)) {
        if (header.name == "tree" && !hasTree) {
            const auto tree = Oid::parse(header.value);
            if (!tree)
                return damaged();
            commit.tree = *tree;
            hasTree = true;
        } else if (header.name == "parent" && !hasAuthor) {
            const auto parent = Oid::parse(header.value);
            if (!parent)
                return damaged();
            commit.parents.push_back(*parent);
        } else if (header.name == "author" && !hasAuthor) {
            commit.authorLine = std::move(header.value);
            hasAuthor = true;
        } else if (header.name == "committer" && !hasCommitter) {
            commit.committerLine = std::move(header.value);
            hasCommitter = true;
        } else if (header.name == "encoding" && commit.m_encoding.empty()) {
            commit.m_encoding = std::move(header.value);
            commit.m_encodingAt = commit.otherHeaders.size();
        } else {
            commit.isSigned |= header.name == "gpgsig" || header.name == "gpgsig-sha256";
            commit.otherHeaders.emplace_back(std::string(header.name), std::move(header.value));
        }
    }
    if (!hasTree)
        return damaged();
    if (!bytes.empty())
        commit.message = bytes.substr(1);
    commit.author = personOf(commit.authorLine, commit.m_encoding);
    commit.committer = personOf(commit.committerLine, commit.m_encoding);
    return commit;
}

Result<Commit> readCommit(ObjectStore& store, const Oid& id)
{
    const auto object = store.read(id, ObjectType::Commit);
    if (!object)
        return std::unexpected(object.error());
    auto commit = parseCommit(id, object->view());
    if (!commit)
        return commit;
    if (auto given = store.overrides().parentsOf(id))
        commit->parents = std::move(*given);
    return commit;
}

Result<Oid> treeOf(ObjectStore& store, const Oid& commit)
{
    if (commit.isZero())
        return Oid();
    const auto object = store.read(commit, ObjectType::Commit);
    if (!object)
        return std::unexpected(object.error());
    const auto tree = object->view().starts_with("tree ") ? Oid::parse(object->view().substr(5, 40)) : std::nullopt;
    if (!tree)
        return fail(ErrorKind::Broken, "A commit object is damaged", commit.hex(), "Run git fsck in the repository");
    return *tree;
}

std::string formatPerson(const Person& person)
{
    char buffer[64];
    const int offset = std::abs(person.offsetMinutes);
    std::snprintf(buffer, sizeof buffer, "> %lld %c%02d%02d", static_cast<long long>(person.when),
                  person.offsetMinutes < 0 ? '-' : '+', offset / 60, offset % 60);
    return person.name + (person.name.empty() ? "<" : " <") + person.email + buffer;
}

std::string formatCommit(const Commit& commit)
{
    std::string bytes;
    bytes.reserve(commit.message.size() + 512);
    appendHeader(bytes, "tree", commit.tree.hex());
    for (const Oid& parent : commit.parents)
        appendHeader(bytes, "parent", parent.hex());
    appendHeader(bytes, "author", commit.authorLine.empty() ? formatPerson(commit.author) : commit.authorLine);
    const bool asStored =
        !commit.committerLine.empty() && personOf(commit.committerLine, commit.m_encoding) == commit.committer;
    appendHeader(bytes, "committer", asStored ? commit.committerLine : formatPerson(commit.committer));
    const std::size_t encodingAt = std::min(commit.m_encodingAt, commit.otherHeaders.size());
    for (std::size_t i = 0; i <= commit.otherHeaders.size(); ++i) {
        if (i == encodingAt && !commit.m_encoding.empty())
            appendHeader(bytes, "encoding", commit.m_encoding);
        if (i < commit.otherHeaders.size())
            appendHeader(bytes, commit.otherHeaders[i].first, commit.otherHeaders[i].second);
    }
    bytes += '\n';
    bytes += commit.message;
    return bytes;
}

std::string Commit::messageUtf8() const { return converted(message, m_encoding).value_or(message); }

void Commit::toUtf8()
{
    if (m_encoding.empty())
        return;
    // Whether they are of the charset is asked of each by itself, as git converts a commit as a whole only where it can.
    for (std::string* text : {&message, &authorLine, &committerLine})
        *text = repaired(converted(*text, m_encoding).value_or(*text));
    author = parsePerson(authorLine);
    m_encoding.clear();
    m_encodingAt = 0;
}

std::string Commit::subject() const { return subjectOf(messageUtf8()); }

Result<std::optional<Person>> givenCommitterDate(const Repository& repository)
{
    const char* const given = std::getenv("GIT_COMMITTER_DATE");
    if (!given || !*given)
        return std::nullopt;
    // Names of its own, so that only the date is judged.
    const auto asked = run({.argv = {"git", "var", "GIT_COMMITTER_IDENT"},
                            .environment = {{"GIT_DIR", repository.gitDir().string()},
                                            {"GIT_COMMITTER_NAME", "nobody"},
                                            {"GIT_COMMITTER_EMAIL", "nobody@invalid"}}});
    if (!asked)
        return fail(ErrorKind::Unsupported, "GIT_COMMITTER_DATE is set, and git cannot be asked to read it", given,
                    "Install git, or unset the variable");
    if (!asked->ok())
        return fail(ErrorKind::Usage, "GIT_COMMITTER_DATE is no date that git knows", given,
                    "Write it as 2026-01-31T12:00:00+0100, or unset the variable");
    const Person person = parsePerson(asked->out);
    return Person{{}, {}, person.when, person.offsetMinutes};
}

} // namespace espalier
