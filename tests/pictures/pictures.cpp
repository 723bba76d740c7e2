// SPDX-License-Identifier: MIT
#include "tests/pictures/pictures.h"

#include "app/drift/drift_board.h"
#include "app/dryrun/dry_run_page.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/logbook/logbook_page.h"
#include "app/overwrite/overwrite_page.h"
#include "app/session/replay_flow.h"
#include "app/settle/settle_page.h"
#include "app/support/text.h"
#include "core/samples/samples.h"

#include <QApplication>
#include <QDragEnterEvent>
#include <QLineEdit>
#include <QPainter>
#include <QPlainTextEdit>
#include <QPushButton>
#include <QTemporaryDir>
#include <QTreeWidget>
#include <QtTest>

#include <cstdio>
#include <filesystem>

namespace espalier::pictures {

namespace {

// Only ends a run that is stuck.
constexpr int patience = 60'000;

[[noreturn]] void giveUp(const QString& why)
{
    std::fprintf(stderr, "make_pictures: %s\n", qPrintable(why));
    std::exit(1);
}

QString cloneOf(const Result<Sample>& sample)
{
    if (!sample)
        giveUp(QString::fromStdString(sample.error().line()));
    return QString::fromStdString(sample->clone.string());
}

} // namespace

Scratch::Scratch()
{
    QTemporaryDir folder;
    folder.setAutoRemove(false);
    m_path = folder.path();
    // Paths below the home are shown short.
    qputenv("HOME", m_path.toUtf8());
}

Scratch::~Scratch()
{
    // git writes objects read-only; where that stands in the way of removing them, they are made writable first. Names may
    // be no UTF-8, so Qt's own folder classes would leave some behind.
    namespace fs = std::filesystem;
    std::error_code failed;
    const fs::path root(m_path.toStdString());
    for (const fs::directory_entry& entry : fs::recursive_directory_iterator(root, failed))
        if (!entry.is_symlink())
            fs::permissions(entry.path(), fs::perms::owner_write, fs::perm_options::add, failed);
    fs::remove_all(root, failed);
    if (failed)
        std::fprintf(stderr, "make_pictures: %s could not be removed: %s\n", qPrintable(m_path),
                     failed.message().c_str());
}

void waitFor(const std::function<bool()>& condition, const QString& what)
{
    if (!QTest::qWaitFor(condition, patience))
        giveUp(QStringLiteral("waited in vain for %1").arg(what));
}

void settleDown()
{
    for (int i = 0; i < 20; ++i) {
        QCoreApplication::processEvents();
        QTest::qWait(10);
    }
}

Pictures::Pictures(MainWindow& window, const QString& folder, const QString& suffix)
    : m_window(window), m_folder(folder), m_suffix(suffix)
{
    QDir().mkpath(folder);
}

void Pictures::save(const QPixmap& picture, const QString& name)
{
    const QString file =
        QStringLiteral("%1/%2-%3%4.png").arg(m_folder).arg(++m_number, 2, 10, QLatin1Char('0')).arg(name, m_suffix);
    if (!picture.save(file))
        giveUp(QStringLiteral("cannot write %1").arg(file));
}

void Pictures::take(const QString& name)
{
    settleDown();
    save(m_window.grab(), name);
}

void Pictures::takeDialog(const QString& name, const std::function<void()>& ask, const QString& type)
{
    // The dialog runs an event loop of its own, in which this is done.
    QTimer::singleShot(0, &m_window, [&] {
        QWidget* dialog = nullptr;
        waitFor([&] { return (dialog = QApplication::activeModalWidget()) && dialog->isVisible(); }, name);
        if (auto* field = dialog->findChild<QLineEdit*>(); field && !type.isEmpty())
            field->setText(type);
        settleDown();
        QPixmap whole = m_window.grab();
        const QPixmap part = dialog->grab();
        QPainter painter(&whole);
        painter.fillRect(m_window.rect(), QColor(0, 0, 0, 70));
        painter.drawPixmap(QPoint((m_window.width() - dialog->width()) / 2, (m_window.height() - dialog->height()) / 2),
                           part);
        painter.end();
        save(whole, name);
        dialog->close();
    });
    ask();
}

void Pictures::takeDrag(const QString& name, const std::string& branch)
{
    const SnapshotPtr snapshot = m_window.session()->snapshot();
    const Ref* topic = snapshot->findRef("refs/heads/" + branch);
    auto* list = m_window.graph()->findChild<GraphList*>();
    const auto shown = m_window.session()->lanes()->displayRowOf(snapshot->mainLineRef()->row);
    if (!topic || !list || !shown)
        giveUp(QStringLiteral("there is nothing to drag for %1").arg(name));
    // A drag of the platform's own cannot be driven; the graph gets the events that the platform would send.
    const auto data = encodeDrag(DragSource{topic->name, {}, topic->tip, true, QString::fromStdString(branch)});
    list->ensureVisible(int(*shown));
    const QPoint at = list->rectOf(int(*shown)).center();
    QDragEnterEvent enter(at, Qt::LinkAction | Qt::MoveAction, data.get(), Qt::LeftButton, Qt::NoModifier);
    QCoreApplication::sendEvent(list->viewport(), &enter);
    QDragMoveEvent move(at, Qt::LinkAction | Qt::MoveAction, data.get(), Qt::LeftButton, Qt::NoModifier);
    QCoreApplication::sendEvent(list->viewport(), &move);
    take(name);
    QDragLeaveEvent leave;
    QCoreApplication::sendEvent(list->viewport(), &leave);
}

QPushButton* buttonOf(QWidget* page, const QString& text)
{
    for (QPushButton* button : page->findChildren<QPushButton*>())
        if (button->isVisible() && button->text().remove(QLatin1Char('&')).startsWith(text))
            return button;
    return nullptr;
}

void click(QWidget* page, const QString& text)
{
    QPushButton* button = nullptr;
    waitFor([&] { return (button = buttonOf(page, text)) && button->isEnabled(); }, text);
    QTest::mouseClick(button, Qt::LeftButton);
}

void overwriteRead(MainWindow& window)
{
    const auto* page = window.overwritePage();
    waitFor(
        [&] {
            const auto* diff = page->findChild<QPlainTextEdit*>(QStringLiteral("difference"));
            const auto labels = page->findChildren<PlainLabel*>();
            return diff && !diff->toPlainText().isEmpty() && std::ranges::any_of(labels, [](const PlainLabel* label) {
                       return label->fullText().contains(QStringLiteral("On the whole"));
                   });
        },
        QStringLiteral("what differs"));
}

void openIn(MainWindow& window, const QString& clone)
{
    QSignalSpy done(window.session(), &Session::forecastsDone);
    window.openRepository(clone);
    waitFor([&] { return done.count() > 0; }, QStringLiteral("the forecasts"));
}

QString buildIn(const Scratch& folder, const QString& name)
{
    return cloneOf(buildSample(name.toStdString(), (folder.path() + QLatin1Char('/') + name).toStdString()));
}

QString buildFromText(const Scratch& folder, const QString& name, const std::string& recipe)
{
    return cloneOf(buildSampleFromText(recipe, (folder.path() + QLatin1Char('/') + name).toStdString()));
}

void selectBranch(MainWindow& window, const std::string& branch)
{
    window.driftBoard()->select("refs/heads/" + branch);
    if (const Ref* found = window.session()->snapshot()->findRef("refs/heads/" + branch))
        window.graph()->goTo(found->row);
}

void replay(MainWindow& window, const std::string& branch, const std::string& onto)
{
    const SnapshotPtr snapshot = window.session()->snapshot();
    const Ref* ref = snapshot->findRef("refs/heads/" + branch);
    const Ref* base = onto.empty() ? snapshot->mainLineRef() : snapshot->findRef(onto);
    if (!ref || !base)
        giveUp(QStringLiteral("there is no branch to replay"));
    window.startReplay({.branch = ref->name,
                        .below = {},
                        .tip = ref->tip,
                        .wholeBranch = true,
                        .label = QString::fromStdString(branch)},
                       {.commit = base->tip, .refName = base->name, .label = QString::fromStdString(base->shortName)});
    waitFor([&] { return window.flow()->run() && !window.flow()->isBusy(); }, QStringLiteral("the dry run"));
}

void beginSettling(MainWindow& window)
{
    click(window.dryRunPage(), QStringLiteral("Settle"));
    waitFor(
        [&] {
            const auto* choice = window.settlePage()->findChild<QPushButton*>(QStringLiteral("new-base"));
            return choice && choice->isVisible() && choice->isEnabled();
        },
        QStringLiteral("the hunks"));
}

void decide(MainWindow& window, const QString& choice)
{
    const std::size_t before = window.flow()->run()->undecided();
    click(window.settlePage(), choice);
    waitFor([&] { return window.flow()->run()->undecided() < before && !window.flow()->isBusy(); },
            QStringLiteral("the decision"));
}

QTreeWidget* applyAndPush(MainWindow& window, Pictures& pictures, const std::string& branch, const QString& applied,
                          const QString& pushed)
{
    click(window.settlePage(), QStringLiteral("Back to the dry run"));
    pictures.take(QStringLiteral("dry-run-settled"));
    QSignalSpy done(window.flow(), &ReplayFlow::applied);
    click(window.dryRunPage(), QStringLiteral("Apply"));
    waitFor([&] { return done.count() > 0; }, QStringLiteral("apply"));
    QSignalSpy forecasts(window.session(), &Session::forecastsDone);
    waitFor([&] { return forecasts.count() > 0; }, QStringLiteral("the new picture"));
    pictures.take(applied);
    window.checkAndPush(branch);
    waitFor([&] { return window.currentPage() == window.overwritePage(); }, QStringLiteral("the overwrite check"));
    overwriteRead(window);
    pictures.take(QStringLiteral("overwrite-check"));
    click(window.overwritePage(), QStringLiteral("Replace"));
    waitFor([&] { return buttonOf(window.overwritePage(), QStringLiteral("Nothing to push")); },
            QStringLiteral("the push"));
    pictures.take(pushed);
    window.showLogbook();
    auto* entries = window.logbookPage()->findChild<QTreeWidget*>(QStringLiteral("entries"));
    waitFor([&] { return entries->topLevelItemCount() > 1; }, QStringLiteral("the logbook"));
    pictures.take(QStringLiteral("logbook"));
    return entries;
}

} // namespace espalier::pictures
