// SPDX-License-Identifier: MIT
//
// The window. main.cpp turns into this program when it is given no command.
#include "app/support/theme.h"
#include "app/window/main_window.h"
#include "core/git/error.h"
#include "core/remotes/ssh_questions.h"

#include <QApplication>
#include <QIcon>

#include <cstdio>
#include <optional>
#include <string>
#include <vector>

#include <unistd.h>

namespace {

// Without a display Qt says so in many lines and aborts; this says it in one. What Qt warns of is passed on once it runs.
class DisplayCheck {
  public:
    DisplayCheck() { m_usual = qInstallMessageHandler(take); }
    ~DisplayCheck()
    {
        qInstallMessageHandler(m_usual);
        for (const auto& [type, text] : m_said)
            m_usual(type, {}, text);
    }
    DisplayCheck(const DisplayCheck&) = delete;
    DisplayCheck& operator=(const DisplayCheck&) = delete;

  private:
    static void take(QtMsgType type, const QMessageLogContext&, const QString& text)
    {
        if (type != QtFatalMsg) {
            m_said.emplace_back(type, text);
            return;
        }
        const QByteArray wayland = qgetenv("WAYLAND_DISPLAY"), x = qgetenv("DISPLAY");
        const std::string display = (wayland.isEmpty() ? x : wayland).toStdString();
        const espalier::Error error{espalier::ErrorKind::NotFound,
                                    display.empty() ? "The window cannot be opened: there is no display"
                                                    : "The window cannot be opened: the display cannot be used",
                                    display, "The commands need none; see espalier --help"};
        std::fprintf(stderr, "espalier: %s\n", error.line().c_str());
        std::fflush(stderr);
        ::_exit(2);
    }

    static inline QtMessageHandler m_usual = nullptr;
    static inline std::vector<std::pair<QtMsgType, QString>> m_said;
};

} // namespace

int main(int argc, char** argv)
{
    if (const auto carried = espalier::carrySshQuestion(argc, argv))
        return *carried;
    std::optional<DisplayCheck> check(std::in_place);
    QApplication application(argc, argv);
    check.reset();
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
