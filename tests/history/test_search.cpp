// SPDX-License-Identifier: MIT
//
// Finding commits, against what git's log says about the same repository.
#include "core/history/search.h"
#include "core/merge/changed_words.h"
#include "tests/support/temp_repository.h"

#include <QtTest>

using namespace espalier;
using namespace espalier::test;

class TestSearch : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void initTestCase();
    void refusesNonsense();
    void agreesWithGit_data();
    void agreesWithGit();
    void datesIncludeTheDay();
    void changedWordsKeepWhole();

  private:
    std::string found(const char* text) const;
    TempRepository m_repo;
};

void TestSearch::initTestCase()
{
    std::string tip =
        m_repo.commitFiles({{"core/a.txt", "1\n"}, {"docs/b.txt", "1\n"}}, "Add Metres to core", {}, "main");
    tip = m_repo.commitFiles({{"core/a.txt", "2\n"}}, "Change a\n\nheights are in METRES now", {tip}, "main");
    tip = m_repo.commitFiles({{"docs/b.txt", "2\n"}}, "Change b", {tip}, "main");
    tip = m_repo.commitFiles({{"core/sub/c.txt", "1\n"}}, "Add c", {tip}, "main");
    tip = m_repo.commitFiles({{"core/a.txt", std::nullopt}}, "Remove a", {tip}, "main");
}

std::string TestSearch::found(const char* text) const
{
    const Repository repository = m_repo.open();
    const SnapshotPtr snapshot = takeSnapshot(repository).value();
    std::string ids;
    const SearchQuery query = parseSearch(text).value();
    const std::vector<Row> rows = search(repository, *snapshot, query).value();
    for (Row row : rows)
        ids += (ids.empty() ? "" : "\n") + snapshot->history.id(row).hex();
    return ids;
}

void TestSearch::refusesNonsense()
{
    for (const char* text : {"since:yesterday", "until:2024-13-01", "since:2024-1-1-1", "in:attic", "id:xyz"}) {
        const auto query = parseSearch(text);
        QVERIFY2(!query, text);
        QCOMPARE(query.error().kind, ErrorKind::Usage);
    }
    QVERIFY(parseSearch("  ").value().empty());
    QVERIFY(parseSearch("person:").value().empty());
    QCOMPARE(parseSearch("\"two words\" x").value().words, (std::vector<std::string>{"two words", "x"}));
}

void TestSearch::agreesWithGit_data()
{
    QTest::addColumn<QString>("text");
    QTest::addColumn<QStringList>("log");
    const auto row = [](const char* text, const QStringList& log) {
        QTest::newRow(text) << QString::fromLatin1(text) << log;
    };
    row("metres", {QStringLiteral("-i"), QStringLiteral("--grep=metres")});
    row("path:core", {QStringLiteral("--"), QStringLiteral("core")});
    row("path:core/a.txt", {QStringLiteral("--"), QStringLiteral("core/a.txt")});
    row("path:docs/", {QStringLiteral("--"), QStringLiteral("docs/")});
    row("change path:core",
        {QStringLiteral("-i"), QStringLiteral("--grep=change"), QStringLiteral("--"), QStringLiteral("core")});
    row("nothing-like-it", {QStringLiteral("--grep=nothing-like-it")});
    row("in:clone", {});
}

void TestSearch::agreesWithGit()
{
    QFETCH(QString, text);
    QFETCH(QStringList, log);
    // git log with --format=%H: the reference implementation.
    QStringList arguments{QStringLiteral("log"), QStringLiteral("--format=%H"), QStringLiteral("--date-order")};
    const qsizetype paths = log.indexOf(QStringLiteral("--"));
    arguments << (paths < 0 ? log : log.mid(0, paths)) << QStringLiteral("main")
              << (paths < 0 ? QStringList() : log.mid(paths));
    QCOMPARE(found(text.toLatin1().constData()), m_repo.git(arguments));
}

void TestSearch::datesIncludeTheDay()
{
    const QString day = QString::fromStdString(
        m_repo.git({QStringLiteral("log"), QStringLiteral("-1"), QStringLiteral("--date=format-local:%Y-%m-%d"),
                    QStringLiteral("--format=%cd"), QStringLiteral("main")}));
    const SearchQuery query = parseSearch(("since:" + day.toStdString() + " until:" + day.toStdString())).value();
    QCOMPARE(*query.until - *query.since, std::int64_t(86400));
    QVERIFY(!found(("until:" + day.toStdString()).c_str()).empty());
    QVERIFY(found("until:1971-01-01").empty());
}

void TestSearch::changedWordsKeepWhole()
{
    const auto part = [](std::string_view line, const std::vector<WordSpan>& spans) {
        return spans.size() == 1
                   ? std::string(line.substr(std::size_t(spans[0].from), std::size_t(spans[0].to - spans[0].from)))
                   : std::string("not one");
    };
    const std::string before = "height = feet(3);", after = "height = feed(3);";
    const ChangedWords words = changedWords(before, after);
    QCOMPARE(part(before, words.before), std::string("feet"));
    QCOMPARE(part(after, words.after), std::string("feed"));
    const ChangedWords others = changedWords("alpha", "omega (different)");
    QVERIFY(others.before.empty() && others.after.empty());
    QVERIFY(changedWords("a b", "a x b").before.empty());
    QVERIFY(changedWords("", "").after.empty());
}

QTEST_GUILESS_MAIN(TestSearch)
#include "test_search.moc"
