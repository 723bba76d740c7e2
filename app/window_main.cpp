// SPDX-License-Identifier: MIT
//
// The window. main.cpp turns into this program when it is given no command.
#include "app/support/theme.h"
#include "app/window/main_window.h"
#include "core/remotes/ssh_questions.h"

#include <QApplication>
#include <QIcon>

int main(int argc, char** argv)
{
    if (const auto carried = espalier::carrySshQuestion(argc, argv))
        return *carried;
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
