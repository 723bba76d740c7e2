// SPDX-License-Identifier: MIT
//
// What the main window remembers between runs.
#include "app/window/main_window.h"

#include "app/history/graph_view.h"

#include <QCloseEvent>
#include <QCryptographicHash>
#include <QScreen>
#include <QSettings>
#include <QSplitter>

namespace espalier {

namespace {

// Settings keys cannot hold every path.
QString groupOf(const QString& path)
{
    return QStringLiteral("repositories/") +
           QString::fromLatin1(QCryptographicHash::hash(path.toUtf8(), QCryptographicHash::Sha1).toHex());
}

} // namespace

void MainWindow::keepGraphState() const
{
    const QString path = m_session->path();
    if (!m_keepsLayout || !m_session->isOpen())
        return;
    QSettings settings;
    settings.setValue(groupOf(path) + QStringLiteral("/path"), path);
    settings.setValue(groupOf(path) + QStringLiteral("/graph"), m_graph->saveState());
    settings.setValue(groupOf(path) + QStringLiteral("/look"), QByteArray::fromStdString(m_session->lastLook().text()));
    // Repositories that are no longer among the recent ones are forgotten.
    settings.beginGroup(QStringLiteral("repositories"));
    for (const QString& group : settings.childGroups()) {
        const QString known = settings.value(group + QStringLiteral("/path")).toString();
        if (known != path && !m_recent.contains(known))
            settings.remove(group);
    }
}

QByteArray MainWindow::savedGraphState() const
{
    if (!m_keepsLayout)
        return {};
    return QSettings().value(groupOf(m_session->path()) + QStringLiteral("/graph")).toByteArray();
}

Look MainWindow::savedLook() const
{
    if (!m_keepsLayout)
        return {};
    return Look::parse(
        QSettings().value(groupOf(m_session->path()) + QStringLiteral("/look")).toByteArray().toStdString());
}

void MainWindow::closeEvent(QCloseEvent* event)
{
    if (m_keepsLayout) {
        QSettings settings;
        settings.setValue(QStringLiteral("window/geometry"), saveGeometry());
        settings.setValue(QStringLiteral("window/columns"), m_columns->saveState());
        settings.setValue(QStringLiteral("window/rows"), m_rows->saveState());
        keepGraphState();
    }
    QMainWindow::closeEvent(event);
}

void MainWindow::restoreLayout()
{
    const QSettings settings;
    m_keepsLayout = true;
    // As it was left; the first time as large as the screen allows, with room for the frame.
    if (!restoreGeometry(settings.value(QStringLiteral("window/geometry")).toByteArray()))
        resize(size().boundedTo(screen()->availableSize() - QSize(fontMetrics().height(), 3 * fontMetrics().height())));
    m_columns->restoreState(settings.value(QStringLiteral("window/columns")).toByteArray());
    m_rows->restoreState(settings.value(QStringLiteral("window/rows")).toByteArray());
    m_recent = settings.value(QStringLiteral("recent")).toStringList();
    showRecent();
}

} // namespace espalier
