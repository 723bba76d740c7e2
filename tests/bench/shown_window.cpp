// SPDX-License-Identifier: MIT
//
//     shown_window STARTED REPOSITORY    the program's window, as main() makes it: seconds from STARTED (nanoseconds since
//                                        1970) until the repository's history is painted
//     shown_window STARTED               the same without a repository: until the window is painted
#include "app/history/graph_list.h"
#include "app/support/theme.h"
#include "app/window/main_window.h"
#include "tests/bench/first_paint.h"

#include <QIcon>
#include <QStandardPaths>

using namespace espalier;

int main(int argc, char** argv)
{
    QApplication application(argc, argv);
    QStandardPaths::setTestModeEnabled(true); // nobody's settings
    QApplication::setApplicationName(QStringLiteral("espalier-bench"));
    QApplication::setWindowIcon(QIcon(QStringLiteral(":/espalier.svg")));
    theme::apply(application);
    MainWindow window;
    window.restoreLayout();
    const bool opens = argc > 2;
    const bench::FirstPaint first(argc > 1 ? std::atoll(argv[1]) : 0, [&](QWidget* painted) {
        if (!opens)
            return painted == &window;
        const auto* list = qobject_cast<const GraphList*>(painted->parentWidget());
        return list && list->viewport() == painted && list->model()->rowCount() > 0;
    });
    window.show();
    if (opens)
        window.openRepository(QString::fromLocal8Bit(argv[2]));
    return QApplication::exec();
}
