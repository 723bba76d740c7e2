// SPDX-License-Identifier: MIT
#include "core/propose/record.h"

#include "core/propose/words.h"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <unordered_map>

namespace espalier {

namespace {

constexpr int fewOfMerge = 20;

std::uint64_t mix(std::uint64_t a, std::uint64_t b)
{
    a ^= b + 0x9e3779b97f4a7c15u + (a << 6) + (a >> 2);
    a *= 0xff51afd7ed558ccdu;
    return a ^ (a >> 32);
}

using Keys = std::array<std::uint64_t, std::size_t(alikes)>;

std::uint64_t sidesOf(const FileFacts& file)
{
    const auto rough = [](int lines) { return std::uint64_t(lines == 0 ? 0 : lines < 10 ? 1 : 2); };
    return rough(file.newBaseLines) + 3 * rough(file.commitLines) + 9 * rough(file.bothLines) +
           27 * std::uint64_t(std::clamp(file.hunks - 1, 0, 2));
}

Keys keysOf(const FileFacts& file, const HunkFacts& hunk)
{
    const std::string_view path = file.path;
    const std::size_t slash = path.rfind('/');
    const std::string_view name = slash == path.npos ? path : path.substr(slash + 1);
    const std::string_view folder = slash == path.npos ? std::string_view() : path.substr(0, slash);
    const std::size_t dot = name.rfind('.');
    const std::uint64_t ending = sumOf(dot == name.npos ? name : name.substr(dot + 1));
    const std::uint64_t ofName = sumOf(name), ofPath = sumOf(path), ofFolder = sumOf(folder), merge = file.merge;
    const std::uint64_t sides = sidesOf(file);
    Keys keys{0,
              hunk.edits,
              hunk.fine,
              ending,
              mix(ending, hunk.edits),
              ofName,
              mix(ofName, hunk.edits),
              ofPath,
              mix(ofPath, hunk.edits),
              ofFolder,
              merge,
              mix(merge, ending),
              mix(merge, hunk.edits),
              mix(merge, ofFolder),
              hunk.masked,
              hunk.exact,
              hunk.honours,
              mix(ending, hunk.honours),
              mix(merge, hunk.honours),
              file.who,
              mix(file.who, hunk.honours),
              7,
              hunk.newBaseEdit,
              hunk.commitEdit,
              sides,
              mix(sides, hunk.honours)};
    for (std::size_t i = 0; i < keys.size(); ++i)
        keys[i] = mix(i + 1, keys[i]);
    return keys;
}

bool ofThisMerge(Alike alike)
{
    return (alike >= Alike::Merge && alike <= Alike::MergeFolder) || alike == Alike::MergeHonours;
}

// What a likeness is a part of: without evidence it says what those say.
struct Parents {
    Alike one, two;
};
constexpr std::array<Parents, std::size_t(alikes)> parentsOf = [] {
    using enum Alike;
    return std::array<Parents, std::size_t(alikes)>{
        {{Project, Project}, {Project, Project}, {Edits, Edits},         {Project, Project},     {Ending, Edits},
         {Ending, Ending},   {Name, Edits},      {Name, Name},           {Path, Edits},          {Project, Project},
         {Project, Project}, {Merge, Merge},     {Merge, Edits},         {Merge, Merge},         {FineEdits, FineEdits},
         {Masked, Masked},   {Project, Project}, {Honours, Honours},     {Merge, Honours},       {Project, Project},
         {Who, Honours},     {Project, Project}, {FineEdits, FineEdits}, {FineEdits, FineEdits}, {Project, Project},
         {Sides, Honours}}};
}();
// How much evidence outweighs the parents.
constexpr std::array<double, std::size_t(alikes)> shrinking{4,   4, 4, 3, 3, 2,   2, 2, 2, 3, 1.5, 1.5, 1.5,
                                                            1.5, 1, 1, 4, 3, 1.5, 3, 3, 2, 1, 1,   4,   4};
// What is believed of a kind before anything is known of the project.
constexpr std::array<double, std::size_t(candidateKinds)> before{.4, .35, .03, .03, .4, .1, .2, .5, .8};

double logit(double p)
{
    p = std::clamp(p, .002, .998);
    return std::log(p / (1 - p));
}
double sigmoid(double x) { return 1 / (1 + std::exp(-x)); }

struct Evidence {
    std::array<float, std::size_t(candidateKinds)> of{}, right{};
    std::array<std::uint16_t, std::size_t(candidateKinds)> ofCount{}, rightCount{};
    std::uint64_t lastMerge = 0;
    std::uint32_t inLast = 0, merges = 0;
};

} // namespace

struct Record::Data {
    std::unordered_map<std::uint64_t, Evidence> evidence;
    std::unordered_map<std::uint64_t, std::uint64_t> settled; // by HunkFacts::exact, the sum of what was settled last
    Standing standing;
    std::size_t hunks = 0;
    std::uint64_t lastMerge = 0;
    int inLast = 0;

    const Evidence* find(std::uint64_t key) const
    {
        const auto found = evidence.find(key);
        return found == evidence.end() ? nullptr : &found->second;
    }
    void add(const FileFacts& file, const HunkFacts& hunk);
};

Record::Record() : m_data(std::make_unique<Data>()) {}
Record::~Record() = default;
Record::Record(Record&&) noexcept = default;
Record& Record::operator=(Record&&) noexcept = default;
std::size_t Record::hunks() const { return m_data->hunks; }
const Standing& Record::standing() const { return m_data->standing; }

int Standing::bandOf(double confidence)
{
    constexpr std::array<double, bands> from{.8, .92, .96, .98};
    return int(std::ranges::upper_bound(from, confidence) - from.begin()) - 1;
}

void Record::Data::add(const FileFacts& file, const HunkFacts& hunk)
{
    const Keys keys = keysOf(file, hunk);
    const auto known = settled.find(hunk.exact);
    for (std::size_t i = 0; i < keys.size(); ++i) {
        Evidence& one = evidence[keys[i]];
        if (one.lastMerge != file.merge || one.merges == 0) {
            one.lastMerge = file.merge;
            one.inLast = 0;
            ++one.merges;
            if (Alike(i) == Alike::Lately)
                for (std::size_t k = 0; k < one.of.size(); ++k) {
                    one.of[k] *= .7f;
                    one.right[k] *= .7f;
                }
        }
        ++one.inLast;
        const float weight = ofThisMerge(Alike(i)) ? 1.f : 1 / std::sqrt(float(one.inLast));
        const auto count = [&](CandidateKind kind, bool right) {
            const auto k = std::size_t(kind);
            one.of[k] += weight;
            one.right[k] += right ? weight : 0;
            if (one.ofCount[k] < 60'000) {
                ++one.ofCount[k];
                one.rightCount[k] += right;
            }
        };
        for (const HunkFacts::Text& text : hunk.texts)
            count(text.kind, text.sum == hunk.settled);
        if (known != settled.end())
            count(CandidateKind::Before, known->second == hunk.settled);
    }
    settled[hunk.exact] = hunk.settled;
    ++hunks;
}

void Record::learn(std::span<const Learnt> files, const Record* beside)
{
    Data& data = *m_data;
    std::vector<const Record*> records{this};
    if (beside)
        records.push_back(beside);
    for (const Learnt& one : files)
        for (const HunkFacts& hunk : one.hunks) {
            if (hunk.settled == 0)
                continue;
            data.inLast = data.lastMerge == one.file.merge ? data.inLast + 1 : 1;
            data.lastMerge = one.file.merge;
            const auto guess = guessFor(records, one.file, hunk);
            if (!guess)
                continue;
            const double weight = 1 / std::sqrt(double(data.inLast));
            const auto count = [&](Standing::Sum& sum) {
                sum.expected += weight * (1 - guess->confidence);
                sum.wrong += guess->sum == hunk.settled ? 0 : weight;
            };
            const int reached = Standing::bandOf(guess->confidence);
            for (int band = 0; band <= reached; ++band)
                for (int slice = 0; slice < Standing::slices; ++slice)
                    if (slice == Standing::All || data.inLast <= fewOfMerge)
                        count(data.standing.sums[std::size_t(slice)][std::size_t(band)]);
            if (reached >= 0)
                count(data.standing.kinds[std::size_t(guess->kind)]);
        }
    for (const Learnt& one : files)
        for (const HunkFacts& hunk : one.hunks)
            if (hunk.settled != 0)
                data.add(one.file, hunk);
}

HunkFacts factsOf(const HunkTexts& hunk, std::span<const Candidate> candidates)
{
    const std::string a = masked(hunk.ancestor), n = masked(hunk.newBase), c = masked(hunk.commit);
    HunkFacts facts;
    const HunkShape shape = shapeOf(hunk);
    facts.edits = shape.edits;
    facts.fine = shape.fine;
    facts.masked = sumOf(c, sumOf("\1", sumOf(n, sumOf("\1", sumOf(a)))));
    facts.exact = sumOf(squeezed(hunk.commit),
                        sumOf("\1", sumOf(squeezed(hunk.newBase), sumOf("\1", sumOf(squeezed(hunk.ancestor))))));
    facts.newBaseEdit = sumOf(n, sumOf("\1", sumOf(a)));
    facts.commitEdit = sumOf(c, sumOf("\1", sumOf(a)));
    const HonouredChanges changes(hunk);
    for (const Candidate& candidate : candidates)
        facts.texts.push_back({candidate.kind, sumOf(evened(candidate.text)), changes.of(candidate.text)});
    const auto rough = [](int share) {
        return share < 0 ? 4u : share == 0 ? 0u : share < 50 ? 1u : share < 100 ? 2u : 3u;
    };
    if (facts.texts.size() > 1) {
        const Honoured &byNewBase = facts.texts[0].honoured, &byCommit = facts.texts[1].honoured;
        facts.honours = rough(byNewBase.putInByCommit) + 5 * rough(byNewBase.takenOutByCommit) +
                        25 * rough(byCommit.putInByNewBase) + 125 * rough(byCommit.takenOutByNewBase);
    }
    return facts;
}

namespace {

// The evidence for one likeness out of all records.
struct Sum {
    double of = 0, right = 0;
    Counts counts;
};

class Asked {
  public:
    Asked(std::span<const Record* const> records, const FileFacts& file, const HunkFacts& hunk)
    {
        const Keys keys = keysOf(file, hunk);
        for (const Record* record : records)
            for (std::size_t i = 0; i < keys.size(); ++i)
                if (const Evidence* found = record->data().find(keys[i])) {
                    m_found[i].push_back(found);
                    m_merges += Alike(i) == Alike::Project ? found->merges : 0;
                }
    }
    Sum at(std::size_t alike, CandidateKind kind) const
    {
        Sum sum;
        for (const Evidence* found : m_found[alike]) {
            sum.of += double(found->of[std::size_t(kind)]);
            sum.right += double(found->right[std::size_t(kind)]);
            sum.counts.of += found->ofCount[std::size_t(kind)];
            sum.counts.right += found->rightCount[std::size_t(kind)];
        }
        return sum;
    }
    double merges() const { return m_merges; }

  private:
    std::array<std::vector<const Evidence*>, std::size_t(alikes)> m_found;
    double m_merges = 0;
};

// The clash itself, one feature each for how the sides stand to each other, their sizes, and what of its change each finds in the
// other, apart for the kinds that matter most.
void putClash(const HunkFacts& hunk, CandidateKind kind, float* x)
{
    const std::size_t group = kind == CandidateKind::NewBase  ? 0
                              : kind == CandidateKind::Commit ? 1
                              : kind == CandidateKind::Words  ? 2
                                                              : 3;
    x += group * (3 * 9 + 3 * 5 + 4 * 5);
    const auto mark = [&x](std::uint64_t value, std::size_t values) {
        x[std::min<std::size_t>(value, values - 1)] = 1;
        x += values;
    };
    for (const unsigned part : {100u, 10u, 1u})
        mark(hunk.edits / part % 10, 9);
    for (const unsigned part : {25u, 5u, 1u})
        mark(hunk.fine % 125 / part % 5, 5);
    for (const unsigned part : {125u, 25u, 5u, 1u})
        mark(hunk.honours / part % 5, 5);
}

GuessRow rowFor(const Asked& asked, const FileFacts& file, const HunkFacts& hunk, CandidateKind kind,
                const Honoured* honoured)
{
    GuessRow row;
    row.kind = kind;
    row.merges = asked.merges();
    auto& x = row.features;
    std::array<double, std::size_t(alikes)> rate{};
    std::array<Sum, std::size_t(alikes)> sums;
    for (std::size_t i = 0; i < std::size_t(alikes); ++i)
        sums[i] = asked.at(i, kind);
    for (std::size_t i = 0; i < std::size_t(alikes); ++i) {
        const double above = i == 0 ? before[std::size_t(kind)]
                                    : (rate[std::size_t(parentsOf[i].one)] + rate[std::size_t(parentsOf[i].two)]) / 2;
        rate[i] = (sums[i].right + shrinking[i] * above) / (sums[i].of + shrinking[i]);
        x[i] = float(i == 0 ? logit(rate[i]) : sums[i].of > 0 ? logit(rate[i]) - logit(above) : 0);
    }
    const auto of = [&](Alike alike) -> const Sum& { return sums[std::size_t(alike)]; };
    std::size_t at = std::size_t(alikes);
    x[at + std::size_t(kind)] = 1;
    at += std::size_t(candidateKinds);
    const auto put = [&](double value) { x[at++] = float(value); };
    put(1);
    put(std::log1p(asked.merges()) / 5);
    put(std::log1p(of(Alike::Path).of));
    put(std::log1p(of(Alike::Merge).of) / 3);
    put(of(Alike::Merge).of > 0 && of(Alike::Merge).counts.right == of(Alike::Merge).counts.of);
    put(of(Alike::Name).of > 0);
    put(std::log1p(file.hunks) / 3);
    const auto share = [](int hundredths) { return hundredths < 0 ? .5 : hundredths / 100.; };
    const std::array<double, 4> shares =
        honoured ? std::array<double, 4>{share(honoured->putInByNewBase), share(honoured->putInByCommit),
                                         share(honoured->takenOutByNewBase), share(honoured->takenOutByCommit)}
                 : std::array<double, 4>{.5, .5, .5, .5};
    for (const double one : shares)
        put(one);
    for (const CandidateKind side : {CandidateKind::NewBase, CandidateKind::Commit}) {
        for (const double one : shares)
            put(kind == side ? one : 0);
        for (const int lines : {file.newBaseLines, file.commitLines, file.bothLines})
            put(kind == side ? std::log1p(lines) / 5 : 0);
        put(kind == side ? std::log1p(file.hunks) / 3 : 0);
    }
    put(of(Alike::Exact).counts.of > 0 && of(Alike::Exact).counts.right == of(Alike::Exact).counts.of);
    put(of(Alike::Masked).counts.of > 0 && of(Alike::Masked).counts.right == of(Alike::Masked).counts.of);
    putClash(hunk, kind, &x[at]);
    return row;
}

double scoreOf(const GuessRow& row, const GuessWeights& weights)
{
    double score = 0;
    for (std::size_t i = 0; i < row.features.size(); ++i)
        score += weights.text[i] * double(row.features[i]);
    return score;
}

// The closest likeness that has something to say for the kind.
void giveReason(Guess& guess, const Asked& asked)
{
    using enum Alike;
    for (const Alike alike :
         {Exact,     Masked, PathEdits,  Path,        MergeHonours,  MergeEdits,  MergeFolder,  MergeEnding, Merge,
          NameEdits, Name,   CommitEdit, NewBaseEdit, EndingHonours, EndingEdits, SidesHonours, Honours,     FineEdits,
          Edits,     Folder, Ending,     Who}) {
        const Counts counts = asked.at(std::size_t(alike), guess.kind).counts;
        if (counts.of >= (alike == Exact ? 1 : 2) && counts.right * 10 >= counts.of * 9) {
            guess.alike = alike;
            guess.counts = counts;
            return;
        }
    }
    guess.alike = Project;
    guess.counts = asked.at(0, guess.kind).counts;
}

} // namespace

std::vector<GuessRow> guessRows(std::span<const Record* const> records, const FileFacts& file, const HunkFacts& hunk)
{
    const Asked asked(records, file, hunk);
    std::vector<GuessRow> rows;
    if (asked.merges() == 0)
        return rows;
    for (std::size_t i = 0; i < hunk.texts.size(); ++i) {
        rows.push_back(rowFor(asked, file, hunk, hunk.texts[i].kind, &hunk.texts[i].honoured));
        rows.back().text = i;
        rows.back().sum = hunk.texts[i].sum;
    }
    for (const Record* record : records) {
        const auto known = record->data().settled.find(hunk.exact);
        if (known == record->data().settled.end())
            continue;
        rows.push_back(rowFor(asked, file, hunk, CandidateKind::Before, nullptr));
        rows.back().text = hunk.texts.size();
        rows.back().sum = known->second;
        break;
    }
    return rows;
}

std::array<float, choiceFeatures> choiceRow(const GuessRow& best, double score, double second)
{
    constexpr std::size_t evidence = std::size_t(alikes + candidateKinds) + 1;
    std::array<float, choiceFeatures> x{};
    const bool begun = best.features[evidence + 2] > 0;
    const std::size_t at = begun ? 0 : choiceFeatures / 2;
    x[at] = float(score);
    x[at + 1] = float(std::min(second, 2.));
    x[at + 2] = float(score - second);
    x[at + 3] = float(std::max(0., score - 2));
    x[at + 4] = 1;
    for (std::size_t i = 0; i < 4; ++i)
        x[at + 5 + i] = best.features[evidence + i];
    x[at + 9 + std::size_t(best.kind)] = 1;
    return x;
}

std::optional<Guess> guessFor(std::span<const Record* const> records, const FileFacts& file, const HunkFacts& hunk)
{
    const auto rows = guessRows(records, file, hunk);
    if (rows.empty())
        return std::nullopt;
    const GuessWeights& weights = guessWeights();
    // Of candidates with the same text the best one speaks for it.
    const GuessRow* best = nullptr;
    double score = -100, second = -6;
    std::vector<double> scores;
    for (const GuessRow& row : rows) {
        scores.push_back(scoreOf(row, weights));
        if (scores.back() > score) {
            score = scores.back();
            best = &row;
        }
    }
    for (std::size_t i = 0; i < rows.size(); ++i)
        if (rows[i].sum != best->sum)
            second = std::max(second, scores[i]);
    const auto x = choiceRow(*best, score, second);
    double sum = 0;
    for (std::size_t i = 0; i < x.size(); ++i)
        sum += weights.choice[i] * double(x[i]);
    Guess guess{best->text, best->kind, best->sum, sigmoid(sum), best->merges, false, false, {}, {}};
    const Asked asked(records, file, hunk);
    guess.begun = asked.at(std::size_t(Alike::Merge), CandidateKind::NewBase).counts.of > 0;
    guess.knowsPath = asked.at(std::size_t(Alike::Path), CandidateKind::NewBase).counts.of > 0;
    giveReason(guess, asked);
    return guess;
}

bool mayShow(std::span<const Record* const> records, const Guess& guess, std::size_t shownOfFile)
{
    constexpr double leastMerges = 2, least = .86;
    // How often the least sure of what is shown may be wrong, by the upper end of what the record leaves open: so many
    // standard deviations above. The average of what is shown is better by far. Stricter where this merge says nothing yet.
    constexpr double deviations = 1.5;
    // Merged words were right in 93 of 100 where they were measured with the bound of the others.
    const double allowed = (guess.begun ? .075 : .05) * (guess.kind == CandidateKind::Words ? .5 : 1);
    const int reached = Standing::bandOf(guess.confidence);
    if (guess.merges < leastMerges || guess.confidence < least || reached < 0)
        return false;
    // How much worse than they said guesses may have been; as many wrong ones as expected (`believed`) stand beside what is known.
    const auto worse = [](const Standing::Sum& sum) {
        constexpr double believed = 2;
        const double wrong = sum.wrong + believed;
        return (wrong + deviations * std::sqrt(wrong)) / (sum.expected + believed);
    };
    const auto summed = [&](auto&& of) {
        Standing::Sum sum;
        for (const Record* record : records) {
            sum.expected += of(record->standing()).expected;
            sum.wrong += of(record->standing()).wrong;
        }
        return sum;
    };
    double most = 0;
    // A part says more than the whole only where it did worse than it should have.
    const auto take = [&](const Standing::Sum& sum, bool whole) {
        if (whole || sum.wrong > sum.expected)
            most = std::max(most, worse(sum));
    };
    for (std::size_t slice = 0; slice < Standing::slices; ++slice)
        for (int band = 0; band <= reached; ++band)
            take(summed([&](const Standing& standing) { return standing.sums[slice][std::size_t(band)]; }), band == 0);
    take(summed([&](const Standing& standing) { return standing.kinds[std::size_t(guess.kind)]; }), false);
    const double share = 1 / (1 + double(shownOfFile) / (guess.knowsPath ? 16 : 4));
    return (1 - guess.confidence) * most <= allowed * share;
}

} // namespace espalier
