// SPDX-License-Identifier: MIT
#include "tests/pictures/settle_pictures.h"

#include "app/settle/check_drawer.h"
#include "app/settle/conflict_editor.h"
#include "app/settle/find_bar.h"
#include "app/settle/hunk_list.h"
#include "app/settle/image_pane.h"
#include "app/settle/settle_page.h"
#include "app/settle/text_pane.h"
#include "app/settle/whole_path_view.h"
#include "app/support/text.h"

#include <QAction>
#include <QBuffer>
#include <QLineEdit>
#include <QPainter>
#include <QPushButton>
#include <QToolButton>
#include <QTreeWidget>
#include <QtTest>

namespace espalier::pictures {

namespace {

// A harbour's mark, and the same with its lamp moved.
QByteArray mark(int size, int lamp)
{
    QImage image(size, size, QImage::Format_ARGB32);
    image.fill(Qt::transparent);
    QPainter painter(&image);
    painter.setRenderHint(QPainter::Antialiasing);
    painter.setPen(Qt::NoPen);
    painter.setBrush(QColor(0, 114, 178));
    painter.drawRect(size * 3 / 8, size / 4, size / 4, size / 2);
    painter.drawRect(size / 8, size * 3 / 4, size * 3 / 4, size / 8);
    painter.setBrush(QColor(230, 159, 0));
    painter.drawEllipse(QPointF(lamp, size / 6.0), size / 9.0, size / 9.0);
    painter.end();
    QByteArray bytes;
    QBuffer buffer(&bytes);
    buffer.open(QIODevice::WriteOnly);
    image.save(&buffer, "PNG");
    return bytes;
}

// As a line of a recipe.
std::string escaped(const QByteArray& bytes)
{
    std::string line = "  |x ";
    for (const char c : bytes)
        line += "\\x" + QByteArray(1, c).toHex().toUpper().toStdString();
    return line + "\n";
}

std::string withLineEnds(const std::string& words)
{
    std::string line = "  |x ";
    for (const char c : words)
        line += c == '\n' ? "\\x0D\\x0A" : c == ' ' ? "\\s" : std::string(1, c);
    return line + "\n";
}

std::string everyKind()
{
    const std::string hours = "# Hours\nThe office opens at six.\nIt closes at six.\nOn Sundays it is closed.\n"
                              "The lamp burns all night.\n";
    const auto plain = [](const std::string& text) {
        std::string lines;
        for (std::size_t at = 0; at < text.size();) {
            const std::size_t end = text.find('\n', at);
            lines += "  | " + text.substr(at, end - at) + "\n";
            at = end + 1;
        }
        return lines;
    };
    const auto changed = [&](const std::string& from, const std::string& to) {
        std::string text = hours;
        return text.replace(text.find(from), from.size(), to);
    };
    const std::string code =
        "#include \"core/level.h\"\n\nint level(int tide, int wind)\n{\n    int lowest = measure(tide);\n"
        "    int highest = lowest + range(tide);\n    return highest + wind;\n}\n\n"
        "int last(int tide)\n{\n    int lowest = measure(tide);\n    return lowest;\n}\n";
    const auto coded = [&](std::vector<std::pair<std::string, std::string>> changes) {
        std::string text = code;
        for (const auto& [from, to] : changes)
            for (std::size_t at = text.find(from); at != std::string::npos; at = text.find(from, at + to.size()))
                text.replace(at, from.size(), to);
        return plain(text);
    };
    return "summary A conflict of every kind\ninclude tidebook\n"
           "commit things after release by ana at 2026-03-01 10:20\n  subject Add a mark, hours and levels\n"
           "  write ui/mark.png\n" +
           escaped(mark(64, 20)) + "  write docs/hours.md\n" + plain(hours) + "  write core/level.cpp\n" + coded({}) +
           "  link docs/latest units.md\n  write core/show.cpp\n" +
           plain("int show()\n{\n    return level(1, 2);\n}\n") +
           "commit up after things by teo at 2026-03-02 10:20\n  subject Draw the mark larger\n  write ui/mark.png\n" +
           escaped(mark(96, 48)) + "commit ends after up by ana at 2026-03-03 10:20\n  subject Open at five\n" +
           "  write docs/hours.md\n" + plain(changed("opens at six", "opens at five")) +
           "  link docs/latest stations.md\n" +
           "commit names after ends by teo at 2026-03-04 10:20\n  subject Call the lowest level the bottom\n"
           "  write core/level.cpp\n" +
           coded({{"lowest", "bottom"}}) +
           "commit wind after names by ana at 2026-03-05 10:20\n  subject Count the wind twice\n"
           "  write core/level.cpp\n" +
           coded({{"lowest", "bottom"}, {"highest + wind", "highest + 2 * wind"}}) + "  write core/show.cpp\n" +
           plain("int show()\n{\n    return level(1, 4);\n}\n") +
           "commit mine after things by mira at 2026-03-02 20:15\n  subject Let the lamp stand right, and measure "
           "twice\n"
           "  write ui/mark.png\n" +
           escaped(mark(64, 46)) + "  write docs/hours.md\n" + withLineEnds(changed("closed.", "closed all day.")) +
           "  link docs/latest nowhere.md\n" + "  write core/level.cpp\n" +
           coded({{"lowest + range(tide)", "lowest + range(tide, 2)"}, {"highest + wind", "highest - wind"}}) +
           "ref upstream main wind\nref fork main things\nref clone main things\nref clone topic/every-kind mine\n"
           "checkout topic/every-kind\n";
}

// A marker that was left: in the settle page, and before apply.
void takeRemarks(MainWindow& window, Pictures& pictures)
{
    SettlePage* page = window.settlePage();
    auto* list = page->findChild<HunkList*>();
    auto* editor = page->findChild<ConflictEditor*>();
    const auto caughtUp = [&] { waitFor([&] { return !window.flow()->isBusy(); }, QStringLiteral("the dry run")); };
    for (int i = 0; i < list->fileCount(); ++i) {
        list->setCurrentItem(list->fileItem(i)->child(0));
        for (int hunk = 0; hunk < list->fileItem(i)->childCount(); ++hunk) {
            list->setCurrentItem(list->fileItem(i)->child(hunk));
            if (auto* keep = page->findChild<QPushButton*>(QStringLiteral("your-commit")); keep->isEnabled())
                keep->click();
        }
        settleDown();
    }
    caughtUp();
    for (int i = 0; i < list->fileCount(); ++i)
        if (list->fileItem(i)->text(0) == QStringLiteral("core/level.cpp"))
            list->setCurrentItem(list->fileItem(i)->child(0));
    editor->setCurrentHunk(0);
    TextPane* middle = editor->pane(ConflictEditor::Pane::Settled);
    middle->setFocus();
    middle->textCursor().insertText(QStringLiteral("<<<<<<< mine\n"));
    editor->flush();
    caughtUp();
    settleDown();
    pictures.take(QStringLiteral("settle-remark"));
    for (QAction* action : page->textActions())
        if (action->objectName() == QLatin1String("replace"))
            action->trigger();
    page->findChild<QLineEdit*>(QStringLiteral("findWords"))->setText(QStringLiteral("lowest"));
    page->findChild<QLineEdit*>(QStringLiteral("replaceWith"))->setText(QStringLiteral("bottom"));
    page->findChild<FindBar*>()->findNext(true);
    pictures.take(QStringLiteral("settle-replace"));
    page->findChild<FindBar*>()->openLine();
    editor->showLine(ConflictEditor::Pane::Settled, 3);
    pictures.take(QStringLiteral("settle-go-to-line"));
    page->findChild<FindBar*>()->close();
    auto* check = page->findChild<CheckDrawer*>();
    check->setOpen(true);
    settleDown();
    pictures.take(QStringLiteral("settle-check-empty"));
    auto* command = page->findChild<QLineEdit*>(QStringLiteral("checkCommand"));
    command->setText(QStringLiteral("cat docs/hours.md; grep -n level core/*.cpp; exit 1"));
    QTest::keyClick(command, Qt::Key_Return);
    waitFor([&] { return !check->isRunning(); }, QStringLiteral("the check"));
    settleDown();
    pictures.take(QStringLiteral("settle-check-failed"));
    setCheckCommand(window.session()->path(), {});
    check->setOpen(false);
    window.showWorkbench();
    settleDown();
    pictures.take(QStringLiteral("dry-run-remark"));
}

} // namespace

void takeSettleKinds(MainWindow& window, Pictures& pictures, const Scratch& samples)
{
    openIn(window, buildFromText(samples, QStringLiteral("every-kind"), everyKind()));
    replay(window, "topic/every-kind");
    beginSettling(window);
    SettlePage* page = window.settlePage();
    auto* list = page->findChild<HunkList*>();
    const auto show = [&](const QString& path) {
        for (int i = 0; i < list->fileCount(); ++i)
            if (list->fileItem(i)->text(0) == path)
                list->setCurrentItem(list->fileItem(i)->child(0));
        settleDown();
    };
    show(QStringLiteral("core/level.cpp"));
    const auto* besides = page->findChild<PlainLabel*>(QStringLiteral("besides"));
    waitFor([&] { return besides->isVisible(); }, QStringLiteral("what explains the hunk"));
    pictures.take(QStringLiteral("settle-explained"));
    auto* editor = page->findChild<ConflictEditor*>();
    auto* handle = page->findChild<QToolButton*>(QStringLiteral("commitsHandle"));
    for (const auto side : {ConflictEditor::Pane::NewBase, ConflictEditor::Pane::Commit})
        editor->setShownAsChange(side, true);
    handle->click();
    const auto* commits = page->findChild<QTreeWidget*>(QStringLiteral("hunkCommits"));
    waitFor([&] { return commits->topLevelItemCount() > 1; }, QStringLiteral("the commits"));
    QTest::qWait(500); // the change of the first
    pictures.take(QStringLiteral("settle-commits"));
    handle->click();
    for (const auto side : {ConflictEditor::Pane::NewBase, ConflictEditor::Pane::Commit})
        editor->setShownAsChange(side, false);
    show(QStringLiteral("docs/hours.md"));
    pictures.take(QStringLiteral("settle-line-ends"));
    show(QStringLiteral("docs/latest"));
    pictures.take(QStringLiteral("settle-links"));
    show(QStringLiteral("ui/mark.png"));
    const auto* view = page->findChild<WholePathView*>();
    waitFor([&] { return view->image(ConflictEditor::Pane::Commit)->isVisible(); }, QStringLiteral("the images"));
    pictures.take(QStringLiteral("settle-images"));
    takeRemarks(window, pictures);
    window.showWorkbench();
    window.flow()->close();
}

} // namespace espalier::pictures
