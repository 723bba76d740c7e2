// SPDX-License-Identifier: MIT
// What differs in all lines of a file, or in the file itself, in the real settle page: line ends, encodings, modes. Each is
// said, settled by every answer that is offered, kept on disk, undone; what else differs is asked as ever. git reads what
// was written. And images stand beside each other.
#include "app/settle/conflict_editor.h"
#include "app/settle/form_bar.h"
#include "app/settle/hunk_list.h"
#include "app/settle/image_pane.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "app/settle/whole_path_view.h"
#include "app/support/text.h"
#include "tests/support/temp_repository.h"
#include "tests/support/topic_plan.h"

#include <QBuffer>
#include <QPushButton>
#include <QtTest>

using namespace espalier;
using test::Files;

namespace {

constexpr int patience = 20000;
constexpr char topic[] = "refs/heads/topic/x";

// Twelve lines of which one is another, with these line ends.
std::string twelve(int line, const std::string& words, const std::string& end = "\n")
{
    std::string text;
    for (int i = 0; i < 12; ++i)
        text += (i == line ? words : "line " + std::to_string(i)) + end;
    return text;
}

std::string changed(std::string text, const std::string& from, const std::string& to)
{
    const std::size_t at = text.find(from);
    return at == std::string::npos ? std::string() : text.replace(at, from.size(), to);
}

std::string png(int width, int height, Qt::GlobalColor colour)
{
    QImage image(width, height, QImage::Format_RGB32);
    image.fill(colour);
    QByteArray bytes;
    QBuffer buffer(&bytes);
    buffer.open(QIODevice::WriteOnly);
    image.save(&buffer, "PNG");
    return bytes.toStdString();
}

struct Case {
    Files base, newBase, commit;
    QStringList answers;          // accessible names of the buttons to press
    std::vector<int> hunkChoices; // Alt+N for the hunks that are left, in order
    std::string path, contents;   // then
    std::string mode = "100644";
};

} // namespace
Q_DECLARE_METATYPE(Case)

class TestSettleForms : public QObject {
    Q_OBJECT

    std::unique_ptr<test::TempRepository> m_repo;
    test::OpenTopic m_open;
    std::unique_ptr<SettlePage> m_page;

    QPushButton* button(const char* name) const { return m_page->findChild<QPushButton*>(QLatin1String(name)); }
    FormBar* bar() const { return m_page->findChild<FormBar*>(); }
    HunkList* list() const { return m_page->findChild<HunkList*>(); }
    ConflictEditor* editor() const { return m_page->findChild<ConflictEditor*>(); }
    void caughtUp() { QTRY_VERIFY_WITH_TIMEOUT(!m_open.flow->isBusy(), patience); }
    QPushButton* answer(const QString& name) const
    {
        for (QPushButton* one : bar()->findChildren<QPushButton*>())
            if (one->accessibleName() == name && one->isVisible())
                return one;
        return nullptr;
    }

    void create(const Case& one)
    {
        m_repo = std::make_unique<test::TempRepository>();
        const auto base = m_repo->commitFiles(one.base, "Base", {}, "main");
        m_repo->commitFiles(one.commit, "Mine", {base}, "topic/x");
        m_repo->commitFiles(one.newBase, "Upstream", {base}, "main");
    }
    void start()
    {
        test::openTopic(*m_repo, topic, m_open);
        QVERIFY(m_open.plan);
        m_page = std::make_unique<SettlePage>(m_open.session.get(), m_open.flow.get());
        m_page->resize(1300, 800);
        m_page->show();
        QVERIFY(QTest::qWaitForWindowExposed(m_page.get()));
        m_open.flow->start(*m_open.plan);
        QTRY_VERIFY_WITH_TIMEOUT(m_open.flow->run() && !m_open.flow->isBusy(), patience);
        m_page->begin();
        QTRY_VERIFY_WITH_TIMEOUT(list()->fileCount() > 0, patience);
    }
    bool isIn(const FileForm& form) const { return editor()->isEnabled() && editor()->model().text().form == form; }
    void press(const QString& name)
    {
        QTRY_VERIFY2_WITH_TIMEOUT(answer(name), qPrintable(name), patience);
        QTest::mouseClick(answer(name), Qt::LeftButton);
        caughtUp();
        QTRY_VERIFY2_WITH_TIMEOUT(isIn(m_open.flow->run()->commits[0].conflicts[0].form), qPrintable(name), patience);
        QVERIFY2(answer(name) && answer(name)->isChecked(), qPrintable(name));
    }

  private Q_SLOTS:
    void cleanup()
    {
        m_page.reset();
        m_open.flow.reset();
        m_open.session.reset();
        m_repo.reset();
    }
    void everyAnswer_data();
    void everyAnswer();
    void isUndoneAndKept();
    void whatIsTypedMeanwhileStays();
    void imagesStandBesideEachOther();
};

void TestSettleForms::everyAnswer_data()
{
    QTest::addColumn<Case>("one");
    const std::string plain = twelve(-1, {}), mineCr = twelve(2, "mine", "\r\n"), theirs = twelve(9, "theirs");
    const std::string both = changed(twelve(2, "mine"), "line 9", "theirs");
    const QString ends = QStringLiteral("Line ends: LF on the new base, CR LF in your commit: %1");
    const auto add = [](const char* name, Case one) { QTest::newRow(name) << one; };
    add("LF", {{{"f", plain}}, {{"f", theirs}}, {{"f", mineCr}}, {ends.arg("LF")}, {}, "f", both});
    std::string bothCr;
    for (const char c : both)
        bothCr += c == '\n' ? "\r\n" : std::string(1, c);
    add("CR LF", {{{"f", plain}}, {{"f", theirs}}, {{"f", mineCr}}, {ends.arg("CR LF")}, {}, "f", bothCr});
    add("as each line has it", {{{"f", plain}},
                                {{"f", theirs}},
                                {{"f", mineCr}},
                                {ends.arg("LF"), ends.arg("As each line has it")},
                                {2},
                                "f",
                                mineCr});
    const QString endsBack = QStringLiteral("Line ends: CR LF on the new base, LF in your commit: %1");
    add("the new base's change", {{{"f", plain}},
                                  {{"f", changed(mineCr, "mine", "theirs")}},
                                  {{"f", twelve(9, "mine")}},
                                  {endsBack.arg("LF")},
                                  {},
                                  "f",
                                  changed(twelve(9, "mine"), "line 2", "theirs")});
    // What truly clashes is asked, and nothing else.
    for (const auto& [choice, words] :
         {std::pair{1, "theirs\n"}, {2, "mine\n"}, {3, "theirs\nmine\n"}, {4, "mine\ntheirs\n"}})
        add(("a clash is left, Alt+" + std::to_string(choice)).c_str(), {{{"f", plain}},
                                                                         {{"f", twelve(2, "theirs")}},
                                                                         {{"f", mineCr}},
                                                                         {ends.arg("LF")},
                                                                         {choice},
                                                                         "f",
                                                                         changed(plain, "line 2\n", words)});
    const std::string latin = twelve(4, "caf\xE9"), utf8 = twelve(4, "caf\xC3\xA9");
    const std::string latinTheirs = changed(latin, "caf\xE9", "caf\xE9 open"),
                      utf8Mine = changed(utf8, "line 8", "mine");
    const QString coded = QStringLiteral("Encoding: ISO 8859-1 on the new base, UTF-8 in your commit: %1");
    add("UTF-8", {{{"f", latin}},
                  {{"f", latinTheirs}},
                  {{"f", utf8Mine}},
                  {coded.arg("UTF-8")},
                  {},
                  "f",
                  changed(utf8Mine, "caf\xC3\xA9", "caf\xC3\xA9 open")});
    add("ISO 8859-1", {{{"f", latin}},
                       {{"f", latinTheirs}},
                       {{"f", utf8Mine}},
                       {coded.arg("ISO 8859-1")},
                       {},
                       "f",
                       changed(latinTheirs, "line 8", "mine")});
    const QString mode = QStringLiteral("Mode: not executable on the new base, executable in your commit: %1");
    const Files none{{"a", "a\n"}};
    add("executable",
        {none, {{"t", "theirs\n"}}, {{"exe:t", "mine\n"}}, {mode.arg("Executable")}, {2}, "t", "mine\n", "100755"});
    add("not executable",
        {none, {{"t", "theirs\n"}}, {{"exe:t", "mine\n"}}, {mode.arg("Not executable")}, {3}, "t", "theirs\nmine\n"});
    add("mode as the new base has it", {none,
                                        {{"t", "theirs\n"}},
                                        {{"exe:t", "mine\n"}},
                                        {mode.arg("Executable"), mode.arg("As the new base has it")},
                                        {1},
                                        "t",
                                        "theirs\n"});
    // Files that are added, or get a name that the other side gives too, are texts that meet without an ancestor.
    const std::string thirty = twelve(-1, {}) + twelve(-1, {});
    const std::string away = twelve(-1, {}, " away\n") + twelve(-1, {}, " away\n");
    for (const auto& [choice, words] :
         {std::pair{1, "theirs\n"}, {2, "mine\n"}, {3, "theirs\nmine\n"}, {4, "mine\ntheirs\n"}}) {
        const std::string by = ", Alt+" + std::to_string(choice);
        add(("both added" + by).c_str(), {none, {{"t", "theirs\n"}}, {{"t", "mine\n"}}, {}, {choice}, "t", words});
        add(("renamed to one name" + by).c_str(), {{{"x", thirty + "x\n"}, {"y", thirty + "y\n" + away}},
                                                   {{"x", {}}, {"t", thirty + "theirs\n"}},
                                                   {{"y", {}}, {"t", thirty + "mine\n"}},
                                                   {},
                                                   {choice},
                                                   "t",
                                                   thirty + words});
        add(("renamed to what was added" + by).c_str(), {{{"x", thirty + "x\n"}},
                                                         {{"x", {}}, {"t", thirty + "theirs\n"}},
                                                         {{"t", thirty + "mine\n"}},
                                                         {},
                                                         {choice},
                                                         "t",
                                                         thirty + words});
    }
    // Both added it, in nothing alike but its lines.
    add("all three", {none,
                      {{"t", latin}},
                      {{"exe:t", changed(utf8, "\n", "\r\n")}},
                      {QStringLiteral("Line ends: LF on the new base, mixed line ends in your commit: LF"),
                       coded.arg("UTF-8"), mode.arg("Executable")},
                      {},
                      "t",
                      utf8,
                      "100755"});
}

void TestSettleForms::everyAnswer()
{
    QFETCH(Case, one);
    create(one);
    start();
    for (const QString& name : one.answers)
        press(name);
    QTRY_COMPARE_WITH_TIMEOUT(int(editor()->model().hunkCount()), int(one.hunkChoices.size()), patience);
    QCOMPARE(m_open.flow->run()->undecided(), one.hunkChoices.size());
    for (const int choice : one.hunkChoices) {
        QTest::keyClick(m_page.get(), Qt::Key(Qt::Key_0 + choice), Qt::AltModifier);
        caughtUp();
    }
    QVERIFY(m_open.flow->run()->clean);
    QSignalSpy done(m_page.get(), &SettlePage::allSettled);
    QTest::keyClick(m_page.get(), Qt::Key_F8);
    QTRY_COMPARE_WITH_TIMEOUT(done.size(), 1, patience);
    test::applyAnnounced(*m_repo, *m_open.flow, topic);
    const QString path = QString::fromStdString(one.path);
    const std::string entry = m_repo->git({QStringLiteral("ls-tree"), QLatin1String(topic), path});
    QVERIFY2(entry.starts_with(one.mode + " blob "), entry.c_str());
    QCOMPARE(m_repo->readRaw("blob", entry.substr(12, 40)), one.contents);
    QVERIFY2(m_repo->git({QStringLiteral("fsck"), QStringLiteral("--strict"), QStringLiteral("--no-dangling")}).empty(),
             "git fsck");
}

void TestSettleForms::isUndoneAndKept()
{
    const QString lf = QStringLiteral("Line ends: LF on the new base, CR LF in your commit: LF");
    create({{{"f", twelve(-1, {})}}, {{"f", twelve(9, "theirs")}}, {{"f", twelve(2, "mine", "\r\n")}}, {}, {}, {}, {}});
    start();
    QVERIFY(!m_open.flow->run()->clean);
    press(lf);
    QVERIFY(m_open.flow->run()->clean);
    QCOMPARE(list()->fileItem(0)->childCount(), 1); // it can be gone back to
    QTest::mouseClick(button("undo"), Qt::LeftButton);
    caughtUp();
    QVERIFY(!m_open.flow->run()->clean);
    QTRY_COMPARE_WITH_TIMEOUT(editor()->model().hunkCount(), 1, patience);
    QTRY_VERIFY_WITH_TIMEOUT(answer(lf) && !answer(lf)->isChecked(), patience);
    QTest::mouseClick(button("redo"), Qt::LeftButton);
    caughtUp();
    QVERIFY(m_open.flow->run()->clean);
    // Another day.
    m_page.reset();
    m_open.flow.reset();
    m_open.session.reset();
    start();
    QVERIFY(m_open.flow->run()->clean);
    QTRY_VERIFY_WITH_TIMEOUT(answer(lf) && answer(lf)->isChecked(), patience);
}

// Between the answer and the file's return in its new form the editor still has the old one.
void TestSettleForms::whatIsTypedMeanwhileStays()
{
    const QString lf = QStringLiteral("Line ends: LF on the new base, CR LF in your commit: LF");
    create({{{"f", twelve(-1, {})}}, {{"f", twelve(9, "theirs")}}, {{"f", twelve(2, "mine", "\r\n")}}, {}, {}, {}, {}});
    start();
    QTRY_VERIFY_WITH_TIMEOUT(answer(lf), patience);
    QTest::mouseClick(answer(lf), Qt::LeftButton);
    editor()->decide(Choice::NewBase);
    caughtUp();
    QTRY_VERIFY_WITH_TIMEOUT(answer(lf) && answer(lf)->isChecked(), patience);
    QTRY_COMPARE_WITH_TIMEOUT(editor()->model().hunkCount(), 0, patience);
    QVERIFY(m_open.flow->run()->clean);
}

void TestSettleForms::imagesStandBesideEachOther()
{
    create({{{"a.png", png(4, 4, Qt::black)}},
            {{"a.png", png(20, 10, Qt::red)}},
            {{"a.png", png(40, 30, Qt::blue)}},
            {},
            {},
            {},
            {}});
    start();
    const auto* view = m_page->findChild<WholePathView*>();
    const ImagePane *left = view->image(ConflictEditor::Pane::NewBase),
                    *right = view->image(ConflictEditor::Pane::Commit);
    QTRY_VERIFY_WITH_TIMEOUT(left->isVisible() && right->isVisible(), patience);
    QVERIFY(!view->pane(ConflictEditor::Pane::NewBase)->isVisible());
    QCOMPARE(left->image().size(), QSize(20, 10));
    QCOMPARE(right->image().size(), QSize(40, 30));
    QVERIFY(left->scale() >= 1);
    QCOMPARE(left->scale(), right->scale());
    QVERIFY2(left->accessibleName().contains(QStringLiteral("a PNG image")) &&
                 left->accessibleName().contains(QStringLiteral("20 × 10 pixels")),
             qPrintable(left->accessibleName()));
    // They are what is painted.
    const QImage grabbed = const_cast<ImagePane*>(right)->grab().toImage();
    QCOMPARE(grabbed.pixelColor(grabbed.width() / 2, grabbed.height() / 2), QColor(Qt::blue));
    QTest::keyClick(m_page.get(), Qt::Key_2, Qt::AltModifier);
    caughtUp();
    test::applyAnnounced(*m_repo, *m_open.flow, topic);
    QCOMPARE(m_repo->readRaw("blob", m_repo->git({QStringLiteral("rev-parse"), QStringLiteral("topic/x:a.png")})),
             png(40, 30, Qt::blue));
}

QTEST_MAIN(TestSettleForms)
#include "test_settle_forms.moc"
