// SPDX-License-Identifier: MIT
#include "core/propose/mined_store.h"

#include "core/git/files.h"
#include "core/git/overrides.h"
#include "core/git/sha1.h"

#include <cstring>
#include <fcntl.h>
#include <unistd.h>

namespace espalier {

namespace {

// Whoever changes what candidates, hunks or facts come out as raises this.
constexpr std::string_view head = "espalier settled merges 1\n";
constexpr std::size_t mostBytes = std::size_t(192) << 20;
constexpr std::size_t largestEntry = std::size_t(4) << 20;

class Out {
  public:
    std::string bytes;

    template <typename Number> void number(Number value)
    {
        for (std::size_t i = 0; i < sizeof value; ++i)
            bytes += char(std::uint64_t(value) >> (8 * i));
    }
    void id(const Oid& id) { bytes.append(reinterpret_cast<const char*>(id.bytes.data()), id.bytes.size()); }
    void text(std::string_view text)
    {
        number(std::uint32_t(text.size()));
        bytes.append(text);
    }
};

// Reads what Out wrote; from bytes that end too early come zeros, and `good` is false from then on.
class In {
  public:
    explicit In(std::string_view bytes) : m_rest(bytes) {}
    bool good = true;
    bool ended() const { return m_rest.empty(); }

    template <typename Number> Number number()
    {
        std::uint64_t value = 0;
        for (std::size_t i = 0; i < sizeof(Number); ++i)
            value |= std::uint64_t(take(1).empty() ? 0 : static_cast<unsigned char>(m_last)) << (8 * i);
        return Number(value);
    }
    Oid id()
    {
        const std::string_view raw = take(20);
        return raw.empty() ? Oid{} : Oid::fromRaw(raw.data());
    }
    std::string_view text() { return take(number<std::uint32_t>()); }
    // How many of at least `size` bytes each follow; a number that the rest cannot hold is none.
    std::size_t count(std::size_t size)
    {
        const std::size_t given = number<std::uint32_t>();
        if (given > m_rest.size() / size) {
            good = false;
            return 0;
        }
        return given;
    }

  private:
    std::string_view take(std::size_t count)
    {
        if (count > m_rest.size()) {
            good = false;
            m_rest = {};
            return {};
        }
        const std::string_view taken = m_rest.substr(0, count);
        m_rest.remove_prefix(count);
        if (count > 0)
            m_last = taken.back();
        return taken;
    }
    std::string_view m_rest;
    char m_last = 0;
};

void writeHunk(Out& out, const MinedHunk& hunk)
{
    for (const std::uint64_t sum :
         {hunk.facts.edits, hunk.facts.fine, hunk.facts.masked, hunk.facts.exact, hunk.facts.newBaseEdit,
          hunk.facts.commitEdit, hunk.facts.honours, hunk.facts.settled})
        out.number(sum);
    out.number(hunk.place.first);
    out.number(hunk.place.count);
    out.number(std::uint32_t(hunk.facts.texts.size()));
    for (const HunkFacts::Text& text : hunk.facts.texts) {
        out.number(std::uint8_t(text.kind));
        out.number(text.sum);
        for (const int share : {text.honoured.putInByNewBase, text.honoured.putInByCommit,
                                text.honoured.takenOutByNewBase, text.honoured.takenOutByCommit})
            out.number(std::int8_t(share));
    }
}

MinedHunk readHunk(In& in)
{
    MinedHunk hunk;
    for (std::uint64_t* sum :
         {&hunk.facts.edits, &hunk.facts.fine, &hunk.facts.masked, &hunk.facts.exact, &hunk.facts.newBaseEdit,
          &hunk.facts.commitEdit, &hunk.facts.honours, &hunk.facts.settled})
        *sum = in.number<std::uint64_t>();
    hunk.place.first = in.number<int>();
    hunk.place.count = in.number<int>();
    const std::size_t texts = in.count(13);
    for (std::size_t i = 0; i < texts; ++i) {
        HunkFacts::Text& text = hunk.facts.texts.emplace_back();
        const auto kind = in.number<std::uint8_t>();
        in.good &= kind < candidateKinds;
        text.kind = CandidateKind(kind < candidateKinds ? kind : 0);
        text.sum = in.number<std::uint64_t>();
        for (int* share : {&text.honoured.putInByNewBase, &text.honoured.putInByCommit,
                           &text.honoured.takenOutByNewBase, &text.honoured.takenOutByCommit})
            *share = in.number<std::int8_t>();
    }
    return hunk;
}

std::string_view checkOf(std::string_view entry, Oid& sum)
{
    Sha1 sha;
    sha.add(entry);
    sum = sha.finish();
    return {reinterpret_cast<const char*>(sum.bytes.data()), 8};
}

std::string entriesOf(std::span<const MinedMerge> merges)
{
    std::string bytes;
    for (const MinedMerge& merge : merges) {
        const std::string entry = formatMinedMerge(merge);
        if (entry.size() > largestEntry)
            continue;
        Out length;
        length.number(std::uint32_t(entry.size()));
        Oid sum;
        bytes += length.bytes;
        bytes += checkOf(entry, sum);
        bytes += entry;
    }
    return bytes;
}

} // namespace

std::string formatMinedMerge(const MinedMerge& merge)
{
    Out out;
    out.id(merge.merge);
    out.number(std::uint32_t(merge.files.size()));
    for (const MinedFile& file : merge.files) {
        out.text(file.facts.path);
        out.number(file.facts.merge);
        out.number(file.facts.who);
        for (const int lines :
             {file.facts.newBaseLines, file.facts.commitLines, file.facts.bothLines, file.facts.hunks})
            out.number(lines);
        for (const Oid& id : {file.ancestor, file.newBase, file.commit, file.recorded})
            out.id(id);
        out.number(std::uint32_t(file.hunks.size()));
        for (const MinedHunk& hunk : file.hunks)
            writeHunk(out, hunk);
    }
    return std::move(out.bytes);
}

std::optional<MinedMerge> parseMinedMerge(std::string_view entry)
{
    In in(entry);
    MinedMerge merge;
    merge.merge = in.id();
    const std::size_t files = in.count(120);
    for (std::size_t i = 0; i < files; ++i) {
        MinedFile& file = merge.files.emplace_back();
        file.facts.path = in.text();
        file.facts.merge = in.number<std::uint64_t>();
        file.facts.who = in.number<std::uint64_t>();
        for (int* lines : {&file.facts.newBaseLines, &file.facts.commitLines, &file.facts.bothLines, &file.facts.hunks})
            *lines = in.number<int>();
        for (Oid* id : {&file.ancestor, &file.newBase, &file.commit, &file.recorded})
            *id = in.id();
        const std::size_t hunks = in.count(76);
        for (std::size_t k = 0; k < hunks; ++k)
            file.hunks.push_back(readHunk(in));
    }
    if (!in.good || !in.ended())
        return std::nullopt;
    return merge;
}

std::vector<MinedMerge> parseMinedMerges(std::string_view file, std::size_t& good)
{
    std::vector<MinedMerge> merges;
    good = 0;
    if (!file.starts_with(head))
        return merges;
    good = head.size();
    while (good + 12 <= file.size()) {
        In in(file.substr(good, 4));
        const std::size_t size = in.number<std::uint32_t>();
        const std::string_view rest = file.substr(good + 12);
        Oid sum;
        if (size > rest.size() || checkOf(rest.substr(0, size), sum) != file.substr(good + 4, 8))
            break;
        auto merge = parseMinedMerge(rest.substr(0, size));
        if (!merge)
            break;
        merges.push_back(std::move(*merge));
        good += 12 + size;
    }
    return merges;
}

MinedStore::MinedStore(const Repository& repository)
    : m_file(repository.commonDir() / "espalier" / "settled-merges"), m_usable(readOverrides(repository).empty())
{
}

std::vector<MinedMerge> MinedStore::read()
{
    std::vector<MinedMerge> merges;
    m_good = 0;
    m_damaged = false;
    if (!m_usable)
        return merges;
    const auto bytes = readFileBounded(m_file, mostBytes);
    if (!bytes) {
        m_damaged = bytes.error().kind != ErrorKind::NotFound;
        return merges;
    }
    merges = parseMinedMerges(*bytes, m_good);
    m_damaged = m_good != bytes->size();
    return merges;
}

Result<void> MinedStore::keep(std::span<const MinedMerge> merges)
{
    if (!m_usable || merges.empty())
        return {};
    const std::string entries = entriesOf(merges);
    if (m_good == 0 || m_damaged || m_good + entries.size() > mostBytes) {
        std::string bytes(head);
        // What is too large is begun anew.
        if (m_good > head.size() && m_good + entries.size() <= mostBytes)
            if (const auto known = readFileBounded(m_file, mostBytes); known && known->size() >= m_good)
                bytes = known->substr(0, m_good);
        bytes += entries;
        const auto done =
            makeFolders(m_file.parent_path()).and_then([&] { return writeFileAtomically(m_file, bytes); });
        if (done) {
            m_good = bytes.size();
            m_damaged = false;
        }
        return done;
    }
    // One write at the end, so that two programs that add at the same time do not cut into each other.
    const int file = ::open(m_file.c_str(), O_WRONLY | O_APPEND | O_CLOEXEC | O_NOFOLLOW);
    if (file < 0)
        return storageError("The record of settled merges cannot be written", m_file, errno);
    const int failed = writeAll(file, entries);
    ::close(file);
    if (failed != 0) {
        m_damaged = true;
        return storageError("The record of settled merges cannot be written", m_file, failed);
    }
    m_good += entries.size();
    return {};
}

} // namespace espalier
