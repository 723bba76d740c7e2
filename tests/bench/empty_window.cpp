// SPDX-License-Identifier: MIT
//
//     empty_window STARTED          an empty Qt window: seconds from STARTED (nanoseconds since 1970) until it is painted
#include "tests/bench/first_paint.h"

#include <QMainWindow>

int main(int argc, char** argv)
{
    QApplication application(argc, argv);
    QMainWindow window;
    window.resize(1360, 860);
    const espalier::bench::FirstPaint first(argc > 1 ? std::atoll(argv[1]) : 0,
                                            [&](QWidget* painted) { return painted == &window; });
    window.show();
    return QApplication::exec();
}
