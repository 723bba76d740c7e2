// SPDX-License-Identifier: MIT
//
// Pictures of the real window, numbered in the order in which they are taken, and the few things that a user does to come
// from one to the next. Everything here waits for a state, never for a time; what does not come about ends the program.
//
//     Pictures pictures(window, folder, "-dark");
//     openIn(window, buildIn(samples, "same-lines"));
//     pictures.take("three-places");              // folder/01-three-places-dark.png
#pragma once

#include "app/support/drag.h"
#include "app/window/main_window.h"

#include <QDir>
#include <QString>

#include <functional>

class QPushButton;
class QTreeWidget;

namespace espalier::pictures {

class Pictures {
  public:
    Pictures(MainWindow& window, const QString& folder, const QString& suffix);

    void take(const QString& name);
    int count() const { return m_number; } // taken so far
    // The dialog that `ask` opens, over the window, and closed again. `type` fills its first field.
    void takeDialog(const QString& name, const std::function<void()>& ask, const QString& type = {});
    // The preview while a branch of the clone is dragged over the main line, with the word at the pointer.
    void takeDrag(const QString& name, const std::string& branch);

  private:
    void save(const QPixmap& picture, const QString& name);

    MainWindow& m_window;
    QString m_folder, m_suffix;
    int m_number = 0;
};

// A folder for samples, the user's home meanwhile; it goes with this object, read-only object files and all.
class Scratch {
  public:
    Scratch();
    ~Scratch();
    Scratch(const Scratch&) = delete;
    Scratch& operator=(const Scratch&) = delete;
    QString path() const { return m_path; }

  private:
    QString m_path;
};

void waitFor(const std::function<bool()>& condition, const QString& what);
// Lets what is queued be painted.
void settleDown();
// The visible button whose text begins so; null when there is none.
QPushButton* buttonOf(QWidget* page, const QString& text);
void click(QWidget* page, const QString& text);
void openIn(MainWindow& window, const QString& clone);
// Builds a sample, or one from the text of a recipe, and returns its clone.
QString buildIn(const Scratch& folder, const QString& name);
QString buildFromText(const Scratch& folder, const QString& name, const std::string& recipe);
void selectBranch(MainWindow& window, const std::string& branch);
// Branches of the clone without refs/heads/; `onto` is a full name, the main line when empty.
void replay(MainWindow& window, const std::string& branch, const std::string& onto = {});
void beginSettling(MainWindow& window);
void decide(MainWindow& window, const QString& choice);
// Waits until the overwrite check shows what differs in the chosen commit and on the whole.
void overwriteRead(MainWindow& window);
// From the settled replay to the logbook, whose list is returned: apply, overwrite check, forced update, with a picture of
// each; the ones after the apply and after the push are called so.
QTreeWidget* applyAndPush(MainWindow& window, Pictures& pictures, const std::string& branch, const QString& applied,
                          const QString& pushed);

} // namespace espalier::pictures
