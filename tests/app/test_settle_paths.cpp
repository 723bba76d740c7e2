// SPDX-License-Identifier: MIT
// Conflicts of whole paths, and what an edit of the replay does to decisions, in the real settle page: each kind has
// choices in plain words, is decided by mouse and by keyboard, undone, and ends in an applied tree that is as chosen. git
// itself reads what was written.
#include "app/dryrun/dry_run_page.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/hunk_list.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "app/settle/whole_path_view.h"
#include "app/support/text.h"
#include "tests/support/temp_repository.h"
#include "tests/support/topic_plan.h"

#include <QPushButton>
#include <QToolButton>
#include <QtTest>

using namespace espalier;
using test::Files;

namespace {

constexpr int patience = 20000;
constexpr char topic[] = "refs/heads/topic/x";
// The ids of two commits that are nowhere: submodules need no more.
constexpr char subOne[] = "1111111111111111111111111111111111111111";
constexpr char subTwo[] = "2222222222222222222222222222222222222222";
constexpr char subThree[] = "3333333333333333333333333333333333333333";

std::string lines(int count, const std::string& end = {})
{
    std::string text;
    for (int i = 0; i < count; ++i)
        text += "line " + std::to_string(i) + "\n";
    return text + end;
}

struct Case {
    Files base, newBase, commit;
    const char *keepNewBase, *keepYourCommit; // the buttons' labels
    Files whenNewBase, whenYourCommit;        // the whole tree then
    std::string newBaseShows, commitShows;    // the lines in the two panes
};

} // namespace
Q_DECLARE_METATYPE(Case)

class TestSettlePaths : public QObject {
    Q_OBJECT

    std::unique_ptr<test::TempRepository> m_repo;
    test::OpenTopic m_open;
    std::unique_ptr<DryRunPage> m_dryRun;
    std::unique_ptr<SettlePage> m_page;

    QPushButton* button(const char* name) const { return m_page->findChild<QPushButton*>(QLatin1String(name)); }
    ConflictEditor* editor() const { return m_page->findChild<ConflictEditor*>(); }
    HunkList* list() const { return m_page->findChild<HunkList*>(); }
    NoticeBar* notice() const { return m_page->findChild<NoticeBar*>(); }
    void caughtUp() { QTRY_VERIFY_WITH_TIMEOUT(!m_open.flow->isBusy(), patience); }
    QString label(const char* name) const { return button(name)->text(); }
    // What a pane of a whole path shows: its lines, or what it says where there are none.
    std::string shown(ConflictEditor::Pane side) const
    {
        const TextPane* pane = m_page->findChild<WholePathView*>()->pane(side);
        return pane->isVisible() && pane->isReadOnly()
                   ? (pane->toPlainText().isEmpty() ? pane->accessibleDescription() : pane->toPlainText()).toStdString()
                   : std::string("not to be seen, or not read only");
    }
    QString decision(int file, int hunk) const { return list()->fileItem(file)->child(hunk)->text(1); }

    // m_repo has main and topic/x.
    void start()
    {
        test::openTopic(*m_repo, topic, m_open);
        QVERIFY(m_open.plan);
        m_dryRun = std::make_unique<DryRunPage>(m_open.session.get(), m_open.flow.get());
        m_dryRun->resize(1000, 500);
        m_dryRun->show();
        m_page = std::make_unique<SettlePage>(m_open.session.get(), m_open.flow.get());
        m_page->resize(1300, 800);
        m_page->show();
        QVERIFY(QTest::qWaitForWindowExposed(m_page.get()));
        m_open.flow->start(*m_open.plan);
        QTRY_VERIFY_WITH_TIMEOUT(m_open.flow->run() && !m_open.flow->isBusy(), patience);
        begin();
    }
    void begin()
    {
        m_page->begin();
        QTRY_VERIFY_WITH_TIMEOUT(button("new-base")->isEnabled(), patience);
    }
    void apply() { test::applyAnnounced(*m_repo, *m_open.flow, topic); }
    // As git lists and reads it, in the form of Files.
    Files tree() const
    {
        Files files;
        const std::string all = m_repo->git({QStringLiteral("ls-tree"), QStringLiteral("-r"), QLatin1String(topic)});
        for (const QByteArray& line : QByteArray::fromStdString(all).split('\n')) {
            if (line.isEmpty())
                continue;
            const auto id = line.mid(line.indexOf(' ', 7) + 1, 40).toStdString();
            const std::string path = line.mid(line.indexOf('\t') + 1).toStdString();
            if (line.startsWith("160000"))
                files["sub:" + path] = id;
            else
                files[(line.startsWith("120000")   ? "link:"
                       : line.startsWith("100755") ? "exe:"
                                                   : "") +
                      path] = m_repo->readRaw("blob", id);
        }
        return files;
    }

  private Q_SLOTS:
    void cleanup()
    {
        m_page.reset();
        m_dryRun.reset();
        m_open.flow.reset();
        m_open.session.reset();
        m_repo.reset();
    }
    void eachKind_data();
    void eachKind();
    void aFileWithTwoNamesIsOneQuestion();
    void editsOfTheReplayKeepWhatStaysTheSame();
    void anEarlierDecisionReloadsTheLaterOne();
};

void TestSettlePaths::eachKind_data()
{
    QTest::addColumn<Case>("one");
    const std::string binOne("\0one", 4), binTwo("\0two", 4), binThree("\0three", 6);
    const auto add = [](const char* name, Case one) { QTest::newRow(name) << one; };
    const std::string deleted = "Nothing: it is deleted here", thirty = lines(30).substr(0, lines(30).size() - 1);
    add("deleted by the new base", {{{"a", "a\n"}, {"notes", "one\n"}},
                                    {{"notes", {}}},
                                    {{"notes", "two\n"}},
                                    "Leave it deleted",
                                    "Keep the changed file",
                                    {{"a", "a\n"}},
                                    {{"a", "a\n"}, {"notes", "two\n"}},
                                    deleted,
                                    "one\ntwo"});
    add("deleted by the commit", {{{"a", "a\n"}, {"notes", "one\n"}},
                                  {{"notes", "two\n"}},
                                  {{"notes", {}}},
                                  "Keep the changed file",
                                  "Delete it",
                                  {{"a", "a\n"}, {"notes", "two\n"}},
                                  {{"a", "a\n"}},
                                  "one\ntwo",
                                  deleted});
    add("binary", {{{"a.bin", binOne}},
                   {{"a.bin", binTwo}},
                   {{"a.bin", binThree}},
                   "Keep the new base's version (a file)",
                   "Keep your commit's version (a file)",
                   {{"a.bin", binTwo}},
                   {{"a.bin", binThree}},
                   "000000  00 74 77 6f              ·two",
                   "000000  00 74 68 72 65 65        ·three"});
    add("mode", {{{"a", "a\n"}},
                 {{"tool", "one\n"}},
                 {{"exe:tool", "one\n"}},
                 "Keep the new base's version (a file)",
                 "Keep your commit's version (executable)",
                 {{"a", "a\n"}, {"tool", "one\n"}},
                 {{"a", "a\n"}, {"exe:tool", "one\n"}},
                 "one",
                 "one"});
    add("file and folder", {{{"a", "a\n"}},
                            {{"thing", "file\n"}},
                            {{"thing/inner", "inner\n"}},
                            "Keep the file, without the folder",
                            "Keep the folder, without the file",
                            {{"a", "a\n"}, {"thing", "file\n"}},
                            {{"a", "a\n"}, {"thing/inner", "inner\n"}},
                            "file",
                            "thing/inner"});
    add("folder and file", {{{"a", "a\n"}},
                            {{"thing/inner", "inner\n"}},
                            {{"thing", "file\n"}},
                            "Keep the folder, without the file",
                            "Keep the file, without the folder",
                            {{"a", "a\n"}, {"thing/inner", "inner\n"}},
                            {{"a", "a\n"}, {"thing", "file\n"}},
                            "thing/inner",
                            "file"});
    add("symbolic links", {{{"link:way", "a"}},
                           {{"link:way", "b & c"}},
                           {{"link:way", "d"}},
                           "Keep the link to b && c",
                           "Keep the link to d",
                           {{"link:way", "b & c"}},
                           {{"link:way", "d"}},
                           "b & c",
                           "d"});
    add("link and file", {{{"tool", lines(30)}},
                          {{"link:tool", "else"}},
                          {{"tool", lines(30, "more\n")}},
                          "Keep the link to else",
                          "Keep your commit's version (a file)",
                          {{"link:tool", "else"}},
                          {{"tool", lines(30, "more\n")}},
                          "else",
                          thirty + "\nmore"});
    add("file and link", {{{"tool", lines(30)}},
                          {{"tool", lines(30, "more\n")}},
                          {{"link:tool", "else"}},
                          "Keep the new base's version (a file)",
                          "Keep the link to else",
                          {{"tool", lines(30, "more\n")}},
                          {{"link:tool", "else"}},
                          thirty + "\nmore",
                          "else"});
    add("submodule", {{{"sub:part", subOne}},
                      {{"sub:part", subTwo}},
                      {{"sub:part", subThree}},
                      "Keep the submodule at 2222222",
                      "Keep the submodule at 3333333",
                      {{"sub:part", subTwo}},
                      {{"sub:part", subThree}},
                      "part, a submodule at 2222222",
                      "part, a submodule at 3333333"});
    add("submodule and file", {{{"a", "a\n"}},
                               {{"sub:part", subTwo}},
                               {{"part", "file\n"}},
                               "Keep the submodule at 2222222",
                               "Keep your commit's version (a file)",
                               {{"a", "a\n"}, {"sub:part", subTwo}},
                               {{"a", "a\n"}, {"part", "file\n"}},
                               "part, a submodule at 2222222; its repository is not here",
                               "file"});
    add("submodule deleted", {{{"a", "a\n"}, {"sub:part", subOne}},
                              {{"part", {}}},
                              {{"sub:part", subThree}},
                              "Leave it deleted",
                              "Keep the changed file",
                              {{"a", "a\n"}},
                              {{"a", "a\n"}, {"sub:part", subThree}},
                              deleted,
                              "part, a submodule at 3333333"});
    add("both added, no text", {{{"a", "a\n"}},
                                {{"a.bin", binTwo}},
                                {{"a.bin", binThree}},
                                "Keep the new base's version (a file)",
                                "Keep your commit's version (a file)",
                                {{"a", "a\n"}, {"a.bin", binTwo}},
                                {{"a", "a\n"}, {"a.bin", binThree}},
                                "000000  00 74 77 6f              ·two",
                                "000000  00 74 68 72 65 65        ·three"});
    add("UTF-16", {{{"f", std::string("\xFF\xFE"
                                      "a\0\n\0",
                                      6)}},
                   {{"f", std::string("\xFF\xFE"
                                      "b\0\n\0",
                                      6)}},
                   {{"f", std::string("\xFF\xFE"
                                      "c\0\n\0",
                                      6)}},
                   "Keep the new base's version (a file)",
                   "Keep your commit's version (a file)",
                   {{"f", std::string("\xFF\xFE"
                                      "b\0\n\0",
                                      6)}},
                   {{"f", std::string("\xFF\xFE"
                                      "c\0\n\0",
                                      6)}},
                   "b",
                   "c"});
    add("renamed twice", {{{"old", lines(30)}},
                          {{"old", {}}, {"left", "left\n" + lines(30)}},
                          {{"old", {}}, {"right", lines(30, "right\n")}},
                          "Name it left",
                          "Name it right",
                          {{"left", "left\n" + lines(30, "right\n")}},
                          {{"right", "left\n" + lines(30, "right\n")}},
                          "left\n" + thirty,
                          thirty + "\nright"});
    add("renamed twice, same lines", {{{"old", lines(30)}},
                                      {{"old", {}}, {"left", "left\n" + lines(30)}},
                                      {{"old", {}}, {"right", "right\n" + lines(30, "end\n")}},
                                      "Name it left",
                                      "Name it right",
                                      {{"left", "left\n" + lines(30, "end\n")}},
                                      {{"right", "right\n" + lines(30, "end\n")}},
                                      "left\n" + thirty,
                                      "right\n" + thirty + "\nend"});
    add("renamed by the new base", {{{"a", "a\n"}, {"old", lines(30)}},
                                    {{"old", {}}, {"new", lines(30)}},
                                    {{"old", {}}},
                                    "Keep the renamed file",
                                    "Delete it",
                                    {{"a", "a\n"}, {"new", lines(30)}},
                                    {{"a", "a\n"}},
                                    thirty,
                                    deleted});
    add("renamed by the commit", {{{"a", "a\n"}, {"old", lines(30)}},
                                  {{"old", {}}},
                                  {{"old", {}}, {"new", lines(30)}},
                                  "Leave it deleted",
                                  "Keep the renamed file",
                                  {{"a", "a\n"}},
                                  {{"a", "a\n"}, {"new", lines(30)}},
                                  deleted,
                                  thirty});
    const Files folder{{"to/a", lines(30)}, {"to/b", lines(31)}, {"to/c", lines(32)}};
    Files moved = folder, follows = folder, stays = folder;
    for (const char* gone : {"from/a", "from/b", "from/c"})
        moved[gone] = {};
    follows["to/fresh"] = stays["from/fresh"] = "fresh\n";
    add("renamed folder", {{{"from/a", lines(30)}, {"from/b", lines(31)}, {"from/c", lines(32)}},
                           moved,
                           {{"from/fresh", "fresh\n"}},
                           "Let it follow to to/fresh",
                           "Keep it at from/fresh",
                           follows,
                           stays,
                           "Nothing: this side only renames the folder",
                           "fresh"});
}

void TestSettlePaths::eachKind()
{
    QFETCH(Case, one);
    for (const bool takeNewBase : {true, false}) {
        m_repo = std::make_unique<test::TempRepository>();
        const auto base = m_repo->commitFiles(one.base, "Base", {}, "main");
        m_repo->commitFiles(one.commit, "Mine", {base}, "topic/x");
        m_repo->commitFiles(one.newBase, "Upstream", {base}, "main");
        start();
        QCOMPARE(list()->fileCount(), 1); // one question, asked once
        QCOMPARE(label("new-base"), QLatin1String(one.keepNewBase));
        QCOMPARE(label("your-commit"), QLatin1String(one.keepYourCommit));
        for (const auto& [side, wanted] : {std::pair{ConflictEditor::Pane::NewBase, one.newBaseShows},
                                           {ConflictEditor::Pane::Commit, one.commitShows}})
            QVERIFY2(shown(side).starts_with(wanted) && !wanted.empty(), shown(side).c_str());
        QVERIFY(!button("new-base-first")->isVisible());
        QVERIFY(!button("nextUndecided")->text().contains(QStringLiteral("dry run")));
        // The other one by mouse, and back again.
        QTest::mouseClick(button(takeNewBase ? "your-commit" : "new-base"), Qt::LeftButton);
        QVERIFY(decision(0, 0).startsWith(QStringLiteral("●")));
        caughtUp();
        QVERIFY(m_open.flow->run()->clean);
        QTest::mouseClick(button("undo"), Qt::LeftButton);
        QVERIFY(decision(0, 0).startsWith(QStringLiteral("○")));
        caughtUp();
        QVERIFY(!m_open.flow->run()->clean);
        // By key.
        QTest::keyClick(m_page.get(), takeNewBase ? Qt::Key_1 : Qt::Key_2, Qt::AltModifier);
        QVERIFY(decision(0, 0).startsWith(QStringLiteral("●")));
        caughtUp();
        QSignalSpy done(m_page.get(), &SettlePage::allSettled);
        QTest::keyClick(m_page.get(), Qt::Key_F8);
        QTRY_COMPARE_WITH_TIMEOUT(done.size(), 1, patience);
        apply();
        QCOMPARE(tree(), takeNewBase ? one.whenNewBase : one.whenYourCommit);
        QVERIFY2(
            m_repo->git({QStringLiteral("fsck"), QStringLiteral("--strict"), QStringLiteral("--no-dangling")}).empty(),
            "git fsck");
        cleanup();
    }
}

void TestSettlePaths::aFileWithTwoNamesIsOneQuestion()
{
    m_repo = std::make_unique<test::TempRepository>();
    const auto base = m_repo->commitFiles({{"old", lines(30)}, {"b.txt", "one\n"}}, "Base", {}, "main");
    m_repo->commitFiles({{"old", {}}, {"right", lines(30)}, {"b.txt", "mine\n"}}, "Mine", {base}, "topic/x");
    m_repo->commitFiles({{"old", {}}, {"left", lines(30)}, {"b.txt", "upstream\n"}}, "Upstream", {base}, "main");
    start();
    QCOMPARE(list()->fileCount(), 2);
    QCOMPARE(list()->fileItem(1)->text(0), QStringLiteral("old"));
    list()->setCurrentItem(list()->fileItem(1)->child(0));
    QTest::mouseClick(button("new-base"), Qt::LeftButton);
    caughtUp();
    QCOMPARE(m_open.flow->run()->undecided(), std::size_t(1)); // all three paths, in one step
    QTest::keyClick(m_page.get(), Qt::Key_Z, Qt::ControlModifier);
    caughtUp();
    QVERIFY(!m_open.flow->canUndo());
    QCOMPARE(m_open.flow->run()->undecided(), std::size_t(4));
}

// Leaving out an earlier commit changes the text that a later one meets: of its two hunks one is as it was and keeps its
// decision, the other says that it must be looked at again.
void TestSettlePaths::editsOfTheReplayKeepWhatStaysTheSame()
{
    m_repo = std::make_unique<test::TempRepository>();
    const auto text = [](const char* top, const char* bottom) {
        return std::string(top) + "\n" + lines(20) + bottom + "\n";
    };
    const auto base = m_repo->commitFiles({{"notes", text("top", "bottom")}}, "Base", {}, "main");
    const auto first =
        m_repo->commitFiles({{"other", "other\n"}, {"notes", text("top one", "bottom")}}, "First", {base}, "topic/x");
    m_repo->commitFiles({{"notes", text("top two", "bottom two")}}, "Second", {first}, "topic/x");
    m_repo->commitFiles({{"notes", text("TOP", "BOTTOM")}}, "Upstream", {base}, "main");
    start();
    QTest::mouseClick(button("new-base-first"), Qt::LeftButton); // the first commit's top
    caughtUp();
    QTest::keyClick(m_page.get(), Qt::Key_F8);
    QTRY_COMPARE_WITH_TIMEOUT(list()->fileItem(0)->childCount(), 2, patience); // the second commit's two
    QTest::mouseClick(button("your-commit"), Qt::LeftButton);
    QTest::keyClick(m_page.get(), Qt::Key_F8);
    QTest::mouseClick(button("your-commit-first"), Qt::LeftButton);
    caughtUp();
    QVERIFY(m_open.flow->run()->clean);
    // In the dry run page, by key: the first commit is left out.
    auto* commits = m_dryRun->findChild<QTreeView*>(QStringLiteral("commits"));
    commits->setCurrentIndex(commits->model()->index(0, 1));
    m_dryRun->activateWindow();
    QVERIFY(QTest::qWaitForWindowActive(m_dryRun.get()));
    commits->setFocus();
    QTest::keyClick(commits, Qt::Key_Delete);
    caughtUp();
    QCOMPARE(m_open.flow->run()->undecided(), std::size_t(1));
    QCOMPARE(m_open.flow->run()->commits[1].conflicts.front().again, std::size_t(1));
    QTRY_VERIFY_WITH_TIMEOUT(decision(0, 0).contains(QStringLiteral("look again")), patience);
    QVERIFY2(decision(0, 1).startsWith(QStringLiteral("●")), qPrintable(decision(0, 1)));
    QVERIFY2(notice()->line().contains(QStringLiteral("look at it again")), qPrintable(notice()->line()));
    m_page->activateWindow();
    QVERIFY(QTest::qWaitForWindowActive(m_page.get()));
    QTest::keyClick(m_page.get(), Qt::Key_1, Qt::AltModifier);
    caughtUp();
    apply();
    QCOMPARE(tree()["notes"].value(), "TOP\n" + lines(20) + "bottom two\nBOTTOM\n");
}

void TestSettlePaths::anEarlierDecisionReloadsTheLaterOne()
{
    m_repo = std::make_unique<test::TempRepository>();
    const auto base = m_repo->commitFiles({{"notes", "one\n"}}, "Base", {}, "main");
    const auto first = m_repo->commitFiles({{"notes", "two\n"}}, "First", {base}, "topic/x");
    m_repo->commitFiles({{"notes", "three\n"}}, "Second", {first}, "topic/x");
    m_repo->commitFiles({{"notes", "upstream\n"}}, "Upstream", {base}, "main");
    start();
    QTest::mouseClick(button("new-base"), Qt::LeftButton);
    caughtUp();
    QCOMPARE(m_open.flow->run()->undecided(), std::size_t(1)); // the second commit meets the decision
    QTest::keyClick(m_page.get(), Qt::Key_F8);
    QTRY_COMPARE_WITH_TIMEOUT(editor()->model().text().yourSubject, std::string("Second"), patience);
    QCOMPARE(editor()->model().newBaseLines(), QStringList(QStringLiteral("upstream")));
    QTest::mouseClick(button("your-commit"), Qt::LeftButton);
    caughtUp();
    QVERIFY(m_open.flow->run()->clean);
    // Undo twice: what is undone is never out of sight, though it was decided in the commit before.
    QTest::mouseClick(button("undo"), Qt::LeftButton);
    caughtUp();
    QTest::mouseClick(button("undo"), Qt::LeftButton);
    caughtUp();
    QTRY_COMPARE_WITH_TIMEOUT(editor()->model().text().yourSubject, std::string("First"), patience);
    QTRY_VERIFY_WITH_TIMEOUT(decision(0, 0).startsWith(QStringLiteral("○")), patience);
    QTest::mouseClick(button("new-base-first"), Qt::LeftButton);
    caughtUp();
    QTest::keyClick(m_page.get(), Qt::Key_F8);
    QTRY_COMPARE_WITH_TIMEOUT(editor()->model().text().yourSubject, std::string("Second"), patience);
    QTRY_COMPARE_WITH_TIMEOUT(editor()->model().newBaseLines(),
                              QStringList({QStringLiteral("upstream"), QStringLiteral("two")}), patience);
}

QTEST_MAIN(TestSettlePaths)
#include "test_settle_paths.moc"
