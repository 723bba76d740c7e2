// SPDX-License-Identifier: MIT
//
// What similarity is told from, held against a plain spelling of what git's diffcore-delta.c describes (from memory): pieces
// that end at a line end or after 64 bytes, hashed byte by byte; a CR before an LF counts for nothing in a text.
#include "core/merge/likely_sources.h"
#include "core/merge/piece_table.h"
#include "core/merge/renames.h"

#include "tests/support/random_history.h"
#include "tests/support/temp_repository.h"

#include <QtTest/QtTest>

using namespace espalier;

class TestSimilarity : public QObject {
    Q_OBJECT

    using Sums = std::map<std::uint32_t, std::uint32_t>;

    static Sums plainly(const std::string& bytes)
    {
        const bool text = bytes.substr(0, 8000).find('\0') == std::string::npos;
        Sums sums;
        std::uint32_t one = 0, two = 0, length = 0;
        const auto end = [&] {
            if (length > 0)
                sums[(one + two * 0x61) % 107927] += length;
            one = two = length = 0;
        };
        for (std::size_t i = 0; i < bytes.size(); ++i) {
            if (text && bytes[i] == '\r' && i + 1 < bytes.size() && bytes[i + 1] == '\n')
                continue;
            const std::uint32_t before = one;
            one = (one << 7) ^ (two >> 25);
            two = (two << 7) ^ (before >> 25);
            one += static_cast<unsigned char>(bytes[i]);
            if (++length == 64 || bytes[i] == '\n')
                end();
        }
        end();
        return sums;
    }

    static std::string randomBytes(test::SmallRandom& random, const QString& kind)
    {
        std::string bytes;
        for (int lines = random.below(40); lines > 0; --lines) {
            // Around the longest piece, and around twice of it, the ends of lines matter.
            const int length = random.chance(30)   ? 60 + random.below(10)
                               : random.chance(20) ? 120 + random.below(16)
                                                   : random.below(40);
            for (int i = 0; i < length; ++i)
                bytes += char(random.chance(5) ? 128 + random.below(128) : 'a' + random.below(26));
            if (kind == u"binary" && random.chance(30))
                bytes += '\0';
            if (kind != u"lf" && random.chance(70))
                bytes += '\r';
            if (!(lines == 1 && random.chance(50)))
                bytes += '\n';
        }
        return bytes;
    }

  private Q_SLOTS:
    void prints_data()
    {
        QTest::addColumn<QString>("kind");
        for (const char* kind : {"lf", "crlf", "binary"})
            QTest::addRow("%s", kind) << kind;
    }

    void prints()
    {
        QFETCH(QString, kind);
        test::TempRepository repository(test::TempRepository::Bare);
        const Repository opened = repository.open();
        ObjectStore store(opened);
        SimilarityCache cache;
        test::SmallRandom random(5);
        for (int round = 0; round < 300; ++round) {
            const std::string bytes = randomBytes(random, kind);
            const auto print = cache.print(store, store.add(ObjectType::Blob, bytes));
            QVERIFY(print);
            QCOMPARE((*print)->size, bytes.size());
            QVERIFY(std::ranges::is_sorted((*print)->chunks));
            const Sums sums((*print)->chunks.begin(), (*print)->chunks.end());
            QCOMPARE(sums.size(), (*print)->chunks.size());
            QVERIFY(sums == plainly(bytes));
        }
    }

    // A score that may stop as soon as it is certainly too low is the whole one wherever it is not.
    void scores()
    {
        test::TempRepository repository(test::TempRepository::Bare);
        const Repository opened = repository.open();
        ObjectStore store(opened);
        SimilarityCache cache;
        test::SmallRandom random(7);
        int enough = 0, tooLow = 0;
        for (int round = 0; round < 400; ++round) {
            std::string both[2];
            const int common = random.below(100);
            for (int line = random.below(60); line > 0; --line) {
                const std::string shared = "line " + std::to_string(random.below(500)) + "\n";
                for (std::string& text : both)
                    text += random.below(100) < common ? shared : "else " + std::to_string(random.below(9000)) + "\n";
            }
            if (random.chance(20))
                both[random.below(2)] += randomBytes(random, "crlf");
            const auto one = cache.print(store, store.add(ObjectType::Blob, both[0]));
            const auto other = cache.print(store, store.add(ObjectType::Blob, both[1]));
            QVERIFY(one && other);
            const PieceTable table(*one);
            const std::uint64_t larger = std::max(both[0].size(), both[1].size());
            const int whole = both[1].empty() ? 0 : int(commonBytes(**one, **other) * wholeScore / larger);
            QCOMPARE(table.scoreOf(**other), whole);
            for (const int least : {1, 15000, 30000, 45000, whole, whole + 1, wholeScore}) {
                QCOMPARE(table.scoreOf(**other, least), whole >= least ? whole : 0);
                ++(whole >= least ? enough : tooLow);
            }
        }
        QVERIFY(enough > 500 && tooLow > 500);
    }

    // Nothing that has the score is left out, whatever pieces are thought to be rare; most of the rest is.
    void likelySources()
    {
        test::TempRepository repository(test::TempRepository::Bare);
        const Repository opened = repository.open();
        ObjectStore store(opened);
        SimilarityCache cache;
        test::SmallRandom random(11);
        std::vector<SimilarityCache::PrintPtr> prints;
        for (int file = 0; file < 160; ++file) {
            std::string text; // lines that all have, that a family of files has, that one has
            const int family = random.below(12), all = random.below(10), ofFamily = 10 + random.below(20);
            for (int line = 0; line < all; ++line)
                text += "what every file begins with " + std::to_string(line) + "\n";
            for (int line = 0; line < 30; ++line)
                if (random.below(30) < ofFamily)
                    text += "family " + std::to_string(family) + " line " + std::to_string(line) + "\n";
            for (int line = random.below(20); line > 0; --line)
                text += "own " + std::to_string(random.below(100'000)) + "\n";
            prints.push_back(*cache.print(store, store.add(ObjectType::Blob, text)));
        }
        prints.emplace_back(); // something without text
        std::vector<std::uint32_t> noise(pieceHashes);
        for (std::uint32_t& each : noise)
            each = std::uint32_t(random.below(100));
        std::vector<std::uint32_t> found;
        for (const int least : {15000, 30000, 45000}) {
            int alike = 0, looked = 0;
            for (const auto& frequencies : {cache.frequencies(), std::vector<std::uint32_t>(), noise}) {
                LikelySources likely(prints, frequencies, least);
                for (std::size_t target = 0; target + 1 < prints.size(); ++target) {
                    likely.of(*prints[target], found);
                    QVERIFY(std::ranges::is_sorted(found));
                    QVERIFY(std::ranges::adjacent_find(found) == found.end());
                    looked += int(found.size());
                    const PieceTable table(prints[target]);
                    for (std::size_t source = 0; source + 1 < prints.size(); ++source) {
                        const int score = table.scoreOf(*prints[source], least);
                        alike += score > 0;
                        QVERIFY(score == 0 || std::ranges::binary_search(found, std::uint32_t(source)));
                    }
                }
            }
            QVERIFY(alike > 500);
            if (least == 45000)
                QVERIFY(looked < 3 * 160 * 160 / 3);
        }
    }
};

QTEST_GUILESS_MAIN(TestSimilarity)
#include "test_similarity.moc"
