// SPDX-License-Identifier: MIT
#include "app/commands/commands.h"
#include "app/support/theme.h"
#include "app/window/main_window.h"

#include <QApplication>
#include <QIcon>

int main(int argc, char** argv)
{
    // Commands need no display, so they come before anything of the window's.
    if (espalier::isCommand(argc, argv))
        return espalier::runCommand(argc, argv);
    QApplication application(argc, argv);
    QApplication::setApplicationName(QStringLiteral("espalier"));
    QApplication::setApplicationDisplayName(QStringLiteral("Espalier"));
    QApplication::setOrganizationName(QStringLiteral("espalier"));
    QApplication::setApplicationVersion(QStringLiteral(ESPALIER_VERSION));
    QApplication::setDesktopFileName(QStringLiteral("espalier"));
    QApplication::setWindowIcon(QIcon(QStringLiteral(":/espalier.svg")));
    espalier::theme::apply(application);
    espalier::MainWindow window;
    window.restoreLayout();
    window.show();
    const QStringList arguments = QApplication::arguments();
    if (arguments.size() > 1)
        window.openRepository(arguments[1]);
    return QApplication::exec();
}
